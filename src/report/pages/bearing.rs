//! What a panel bears: margins of safety, the plate, the frame section, bonds of sheet, and the values behind them.

use super::frames::frame;
use super::margins::{Case, dumbbells, words as margin_words};
use super::tables::{self, Grid, Page};
use crate::article::ArticleError;
use crate::qualify::margins::{DesignValue, FrameState, Margin, PanelMargins, Uncomputed};
use crate::record::Panel;
use crate::report::laminate::value_words;
use crate::report::margins::layer_words;
use crate::report::mass::decimals;
use crate::report::page::count;
use crate::report::panel::{least_by_case, plate_note};
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::sync::Arc;

/// Rows of a table: what is beyond is left to the command.
const ROWS: usize = 150;

/// Puts all of it onto the sheet of a panel.
pub(super) fn put(page: &mut Page, panel: &Panel, margins: &Result<Arc<PanelMargins>, ArticleError>) {
    let empty = PanelMargins::default();
    let own = margins.as_ref().map_or(&empty, |own| &**own);
    let shown = least_by_case(&own.margins);
    let cases: Vec<Case> = shown
        .iter()
        .map(|margin| Case {
            name: format!("{}: {}", margin.case, margin.mode),
            was: None,
            is: Some(margin.margin),
        })
        .collect();
    page.put("margins", dumbbells(&cases, false));
    page.put("margin_table", margin_grid(own.margins.iter().map(|own| (None, own))));
    page.put("uncomputed", uncomputed(own.uncomputed.iter().map(|own| (None, own))));
    page.put("unmet", json!(unmet(own.margins.iter())));
    page.put("values", value_grid(&own.used));
    page.put("assumptions", json!(own.assumptions));
    let mut plates = Grid::new(
        "The plate under limit pressure alone, core shear included",
        vec![
            ("Case", false),
            ("Zone", false),
            ("Environment", false),
            ("Deflection, mm", true),
            ("Of the thickness", true),
            ("Buckling factor", true),
            ("Note", false),
        ],
    );
    for own in &own.plates {
        let note = plate_note(own).unwrap_or("");
        plates.row(vec![
            tables::short(Some(&own.case)),
            tables::short(Some(&own.zone)),
            tables::text(own.environment.as_deref().unwrap_or("")),
            tables::number(own.deflection_m.map_or_else(String::new, |own| decimals(own * 1e3, 2))),
            tables::number(own.over_thickness.map_or_else(String::new, |own| decimals(own, 2))),
            tables::number(own.buckling_factor.map_or_else(String::new, |own| decimals(own, 2))),
            tables::text(note),
        ]);
    }
    page.put("plates", plates.at_most(ROWS, "`bondline panel --all` lists them"));
    let section = own.section.as_ref();
    page.put("section", section.map(section_grid));
    page.put("walls", section.map(wall_grid));
    page.put("section_words", json!(section.map(section_words)));
    let drawn = panel.section.as_ref().zip(section).and_then(|(section, state)| frame(section, state));
    page.put("section_figure", drawn);
    let mut mismatch = Grid::new(
        "Bonds of sheet under unlike expansion (elastic shear lag)",
        vec![
            ("Joint", false),
            ("Environment", false),
            ("Case", false),
            ("Change, K", true),
            ("Shear at the ends, MPa", true),
            ("Stress in the sheet, MPa", true),
            ("Shear strain if free", true),
        ],
    );
    for own in &own.mismatch {
        mismatch.row(vec![
            tables::short(Some(&own.joint)),
            tables::text(own.environment.as_deref().unwrap_or("")),
            tables::text(own.case),
            tables::number(super::filters::signed(own.change, 0)),
            tables::number(decimals(own.peak_shear / 1e6, 2)),
            tables::number(super::filters::signed(own.sheet_stress / 1e6, 2)),
            tables::number(decimals(own.free_shear_strain, 2)),
        ]);
    }
    page.put("mismatch", mismatch.at_most(ROWS, "`bondline panel --all` lists them"));
}

/// All margins, the least first, each with the panel where there are several.
pub(super) fn margin_grid<'m>(margins: impl Iterator<Item = (Option<&'m str>, &'m Margin)>) -> Grid {
    let mut all: Vec<(Option<&str>, &Margin)> = margins.collect();
    all.sort_by(|(_, one), (_, two)| one.margin.total_cmp(&two.margin));
    let with_panel = all.first().is_some_and(|(panel, _)| panel.is_some());
    let mut columns = vec![
        ("Case", false),
        ("Margin", true),
        ("Fails by", false),
        ("Where", false),
        ("Criterion", false),
        ("Environment", false),
        ("In figures", false),
    ];
    if with_panel {
        columns.insert(0, ("Panel", false));
    }
    let mut grid = Grid::new("All margins of safety, the least first", columns);
    for (panel, own) in all.iter().take(ROWS) {
        let mut cells = vec![
            tables::short(Some(&own.case)),
            tables::number(margin_words(own.margin)),
            tables::text(layer_words(own)),
            tables::text(&own.place),
            tables::text(own.criterion),
            tables::text(own.environment.as_deref().unwrap_or("")),
            tables::text(&own.words),
        ];
        if let Some(panel) = panel {
            cells.insert(0, tables::record("panel", panel));
        }
        grid.row(cells);
    }
    if all.len() > ROWS {
        grid.note = Some(format!("{} more rows: `bondline panel --all` lists them", all.len() - ROWS));
    }
    grid
}

/// What could not be computed, each said once.
pub(super) fn uncomputed<'u>(all: impl Iterator<Item = (Option<&'u str>, &'u Uncomputed)>) -> Value {
    let words = |(panel, own): (Option<&str>, &Uncomputed)| {
        let panel = panel.map_or(String::new(), |panel| format!("panel/{panel}, "));
        let case = if own.case.is_empty() { String::new() } else { format!("{}, ", own.case) };
        format!("{panel}{case}{}: not computed: {}", own.place, own.why)
    };
    let mut said: Vec<String> = Vec::new();
    let mut left = 0usize;
    for one in all {
        let words = words(one);
        if said.contains(&words) {
            continue;
        }
        if said.len() < 60 { said.push(words) } else { left += 1 }
    }
    if left > 0 {
        said.push(format!("{left} more: `bondline panel --all` lists them"));
    }
    json!(said)
}

/// What margins rest on that is not in force.
pub(super) fn unmet<'m>(margins: impl Iterator<Item = &'m Margin>) -> Vec<String> {
    let rests = margins.flat_map(Margin::unmet);
    let words: BTreeSet<String> = rests
        .map(|rest| {
            format!(
                "A margin rests on what is not in force: showing/{} on {} is {}.",
                rest.showing, rest.subject, rest.verdict
            )
        })
        .collect();
    words.into_iter().take(40).collect()
}

/// Design values with where they come from.
pub(super) fn value_grid(used: &[DesignValue]) -> Grid {
    let mut grid =
        Grid::new("Design values in force", vec![("Value", false), ("Figure", true), ("From", false)]);
    for value in used {
        let [number, from] = value_words(value);
        grid.row(vec![tables::text(&value.what), tables::number(number), tables::short(Some(&from))]);
    }
    grid.at_most(ROWS, "`--all` of the command lists them")
}

fn section_words(own: &FrameState) -> String {
    let centre = own
        .shear_centre
        .map_or(String::new(), |[y, z]| format!("; shear centre {:.1}, {:.1} mm", y * 1e3, z * 1e3));
    let environment = own.environment.as_ref().map_or(String::new(), |own| format!(", moduli of {own}"));
    let why = own
        .lost_why
        .as_ref()
        .map_or(String::new(), |why| format!(" With the pane lost it can't be computed: {why}."));
    format!(
        "{}; centroid {:.1}, {:.1} mm; stiffest axis {:.1} degrees from y{centre}; short loads at room temperature{environment}.{why}",
        count(own.cells, "cell"),
        own.rigidity.centroid[0] * 1e3,
        own.rigidity.centroid[1] * 1e3,
        own.rigidity.angle.to_degrees()
    )
}

fn section_grid(own: &FrameState) -> Grid {
    let mut grid = Grid::new(
        "Stiffness of the section",
        vec![("Stiffness", false), ("Whole", true), ("Pane lost", true), ("Whole over lost", true)],
    );
    let lost = own.lost.as_ref();
    let r = &own.rigidity;
    let rows = [
        ("EA, N", r.ea, lost.map(|(_, own)| own.ea)),
        ("EI about y, N mm²", r.ei_y * 1e6, lost.map(|(_, own)| own.ei_y * 1e6)),
        ("EI about z, N mm²", r.ei_z * 1e6, lost.map(|(_, own)| own.ei_z * 1e6)),
        ("EI greatest, N mm²", r.ei_max * 1e6, lost.map(|(_, own)| own.ei_max * 1e6)),
        ("EI least, N mm²", r.ei_min * 1e6, lost.map(|(_, own)| own.ei_min * 1e6)),
        ("GJ, N mm²", own.gj * 1e6, lost.map(|(gj, _)| gj * 1e6)),
    ];
    for (name, whole, of) in rows {
        let ratio = of.filter(|own| *own != 0.0).map_or(String::new(), |own| format!("{:.3}", whole / own));
        grid.row(vec![
            tables::text(name),
            tables::number(format!("{whole:.4e}")),
            tables::number(of.map_or("none".to_string(), |own| format!("{own:.4e}"))),
            tables::number(ratio),
        ]);
    }
    grid
}

fn wall_grid(own: &FrameState) -> Grid {
    let mut grid = Grid::new(
        "Walls under the cases",
        vec![
            ("Case", false),
            ("Wall", false),
            ("Kind", false),
            ("Environment", false),
            ("Shear flow, N/mm", true),
            ("Shear, MPa", true),
            ("Axial, MPa", true),
        ],
    );
    for wall in &own.walls {
        let axial = wall.axial_stress.map_or(String::new(), |[one, two]| {
            format!("{} to {}", decimals(one / 1e6, 2), decimals(two / 1e6, 2))
        });
        grid.row(vec![
            tables::short(Some(&wall.case)),
            tables::short(Some(&wall.wall)),
            tables::text(wall.kind),
            tables::text(wall.environment.as_deref().unwrap_or("")),
            tables::number(decimals(wall.flow / 1e3, 3)),
            tables::number(decimals(wall.shear_stress / 1e6, 3)),
            tables::number(axial),
        ]);
    }
    grid.at_most(ROWS, "`bondline panel --all` lists them")
}
