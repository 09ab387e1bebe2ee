//! The sheet of a recipe: its stack to scale, how stiff it is and which way, and what it bears where it is used.

use super::Site;
use super::bearing::{margin_grid, uncomputed, unmet, value_grid};
use super::margins::{Case, dumbbells, words as margin_words};
use super::polar::polar;
use super::records::{Made, common, used_and_using};
use super::stacks::alone;
use super::tables::{self, Facts, Grid, Page};
use crate::article::stack::{Stack, stack};
use crate::laminate::Matrix3;
use crate::ledger::Entry;
use crate::qualify::margins::{LaminateReport, Mechanics, UsedMargin, code_of, laminate_report_with};
use crate::record::{Address, Recipe, RecordKind};
use crate::report::laminate::significant;
use crate::report::margins::mode_words;
use crate::report::mass::decimals;
use crate::report::page::count;
use serde_json::{Value, json};

/// Rows of the ply table; a stack of a thousand layers has them in the record.
const PLIES: usize = 400;
/// Letters of a code that the sheet shows.
const CODE: f64 = 20_000.0;
/// Duties listed of the laminate.
const ROWS: usize = 150;

/// Template, title and context.
pub(super) fn context(site: &Site<'_>, recipe: &Entry<Recipe>) -> Made {
    let (ledger, own) = (site.inputs.ledger, &*recipe.value);
    let mut page = Page::default();
    let known = &site.known;
    let laid = stack(ledger, &recipe.id);
    let margins = |panel: &str| known.margins(panel);
    let using = known.panels_with_recipe(&recipe.id).iter().filter_map(|id| ledger.panels.get(*id)).collect();
    let report = laminate_report_with(ledger, site.inputs.evaluation, recipe, using, &margins);
    page.put("called", json!(own.title));
    page.put("opening", json!(opening(site, recipe, laid.as_ref().ok(), report.as_ref().ok())));
    page.put("facts_of", facts(own, laid.as_ref().ok()));
    common(&mut page, &recipe.file, &own.notes);
    match &laid {
        Ok(laid) => {
            let mut figure = alone(laid, &recipe.id);
            if figure.rows.len() > PLIES {
                figure.rows.truncate(PLIES);
                figure.caption.push_str(&format!(" The table has the first {PLIES} of them."));
            }
            page.put("stack", figure);
            page.put("warnings", json!(laid.warnings));
        }
        Err(missing) => {
            page.put("stack", Value::Null);
            page.put("warnings", json!([missing.to_string()]));
        }
    }
    put_mechanics(&mut page, report.as_ref().map_err(ToString::to_string));
    put_margins(&mut page, report.as_ref().ok());
    page.put("panels", json!(known.panels_with_recipe(&recipe.id)));
    page.put("duties", duties(site, &recipe.id));
    used_and_using(&mut page, site, &Address::new(RecordKind::Recipe, &recipe.id));
    ("recipe.html", format!("recipe/{}", recipe.id), page)
}

fn opening(
    site: &Site<'_>,
    recipe: &Entry<Recipe>,
    laid: Option<&Stack>,
    report: Option<&LaminateReport>,
) -> String {
    let what = laid.map_or_else(
        || "The stack can't be laid up.".to_string(),
        |own| {
            format!(
                "{}, {} mm thick, {} g/m².",
                count(own.layers.len(), "layer"),
                decimals(own.thickness() * 1e3, 2),
                decimals(own.areal() * 1e3, 0)
            )
        },
    );
    let used = match site.known.panels_with_recipe(&recipe.id).len() {
        0 => "No panel uses it.".to_string(),
        n => format!("{} made of it.", count(n, "panel is").replace("panel iss", "panels are")),
    };
    let least = report
        .and_then(|own| own.loads.iter().min_by(|one, two| one.margin.margin.total_cmp(&two.margin.margin)));
    let least = least.map_or(String::new(), |own| {
        format!(
            " The least margin is {}, under {} of {}, by {}.",
            margin_words(own.margin.margin),
            own.margin.case,
            own.panel,
            mode_words(&own.margin)
        )
    });
    format!("{what} {used}{least}")
}

fn facts(own: &Recipe, laid: Option<&Stack>) -> Facts {
    let mut facts = Facts::default();
    facts.written(
        "Orientation code (after ASTM D6507, from memory)",
        laid.map(|own| super::svg::cut(&code_of(&own.layers), CODE)),
    );
    facts.written("Status", Some(own.status.map_or("trial", |own| own.word())));
    facts.written("Class", own.class.map(|own| own.word()));
    facts.add("Process", tables::record("process", own.process.id()));
    facts.written("Mirror", own.mirror.map(|own| own.word()));
    facts.written(
        "Resin",
        own.resin.as_ref().map(|own| format!("{}, {}", own.material.id(), own.content.text())),
    );
    facts.written("Owner", own.owner.as_ref());
    facts.written("Specification", own.spec.as_ref());
    facts.written("Source", own.source.as_ref());
    facts
}

fn put_mechanics(page: &mut Page, report: Result<&LaminateReport, String>) {
    let known = report.as_ref().ok();
    let mechanics = match &report {
        Ok(own) => own.mechanics.as_ref().map_err(Clone::clone),
        Err(missing) => Err(missing.clone()),
    };
    match mechanics {
        Ok(own) => {
            page.put("polar", polar(&own.compliance));
            page.put("stiffness", stiffness(own));
            page.put("moduli", moduli(own));
            let thick = known.map_or(0.0, |own| own.laid.carrying_thickness());
            page.put("stiffness_words", json!(words(own, thick)));
        }
        Err(why) => {
            page.put("polar", Value::Null);
            page.put("stiffness", Value::Null);
            page.put("moduli", Value::Null);
            page.put("stiffness_words", json!(format!("The stiffness can't be computed: {why}.")));
        }
    }
    page.put("environment", json!(known.and_then(|own| own.environment.clone())));
    page.put("values", known.map(|own| value_grid(&own.laid.used)));
    page.put(
        "lacking",
        json!(known.map_or_else(Vec::new, |own| {
            own.laid.lacking.iter().map(ToString::to_string).take(60).collect()
        })),
    );
    page.put("uncounted", json!(known.map_or_else(Vec::new, |own| own.laid.uncounted.clone())));
}

/// A, B and D; what is rounding of nothing is written as nothing.
fn stiffness(own: &Mechanics) -> Grid {
    let mut grid = Grid::new(
        "A, B and D about the middle of what carries",
        vec![("Row", false), ("x", true), ("y", true), ("xy", true)],
    );
    let of = &own.stiffness;
    let coupling = (of.a[0][0] * of.d[0][0]).sqrt();
    let mut put = |name: &str, matrix: &Matrix3, scale: f64, least: f64| {
        let largest = matrix.iter().flatten().fold(least, |most, own| most.max(own.abs()));
        for (row, word) in matrix.iter().zip(["x", "y", "xy"]) {
            let cell = |value: f64| {
                let none = value.abs() < 1e-9 * largest;
                tables::number(if none { "0".to_string() } else { significant(value * scale) })
            };
            grid.row(vec![tables::text(format!("{name}, {word}")), cell(row[0]), cell(row[1]), cell(row[2])]);
        }
    };
    put("A N/mm", &of.a, 1e-3, 0.0);
    // Coupling is measured by what it couples.
    put("B N", &of.b, 1.0, coupling);
    put("D N mm", &of.d, 1e3, 0.0);
    grid
}

fn moduli(own: &Mechanics) -> Grid {
    let mut grid = Grid::new(
        "Effective moduli",
        vec![
            ("Of", false),
            ("Ex, GPa", true),
            ("Ey, GPa", true),
            ("Gxy, GPa", true),
            ("ν xy", true),
            ("ν yx", true),
        ],
    );
    for (name, own) in [("in the plane", &own.in_plane), ("in bending", &own.bending)] {
        grid.row(vec![
            tables::text(name),
            tables::number(significant(own.ex / 1e9)),
            tables::number(significant(own.ey / 1e9)),
            tables::number(significant(own.gxy / 1e9)),
            tables::number(decimals(own.nu_xy, 4)),
            tables::number(decimals(own.nu_yx, 4)),
        ]);
    }
    grid
}

fn words(own: &Mechanics, thick: f64) -> String {
    let word = |holds: bool, one: &'static str, other: &'static str| if holds { one } else { other };
    let after = match &own.after_cure {
        None => String::new(),
        Some((change, bent)) if bent.curvature.iter().any(|own| own.abs() > 1e-6) => {
            let [kx, ky, kxy] = bent.curvature;
            format!(
                " After cure, {change:.0} K down to room temperature, a free flat plate curves by {kx:.4}, {ky:.4}, {kxy:.4} 1/m in x, y and twist (linear; shrinkage and the tool's pull left out)."
            )
        }
        Some(_) => " After cure a free flat plate stays flat.".to_string(),
    };
    format!(
        "What carries is {} and {}, {} mm from the first to the last layer that carries; z from the tool face inward, x at 0 degrees.{after}",
        word(own.symmetric, "symmetric", "not symmetric (it bends under forces in its plane)"),
        word(own.balanced, "balanced", "not balanced (it shears under forces along x or y)"),
        decimals(thick * 1e3, 3)
    )
}

fn put_margins(page: &mut Page, report: Option<&LaminateReport>) {
    let loads = report.map_or(&[][..], |own| own.loads.as_slice());
    // The least of each panel and case.
    let mut least: Vec<&UsedMargin> = Vec::new();
    let mut places: std::collections::BTreeMap<(&str, &str), usize> = std::collections::BTreeMap::new();
    for own in loads {
        let key = (own.panel.as_str(), own.margin.case.as_str());
        match places.get(&key).and_then(|at| least.get_mut(*at)) {
            Some(known) if known.margin.margin <= own.margin.margin => {}
            Some(known) => *known = own,
            None => {
                places.insert(key, least.len());
                least.push(own);
            }
        }
    }
    let cases: Vec<Case> = least
        .iter()
        .map(|own| Case {
            name: format!("{}, {}: {}", own.panel, own.margin.case, own.margin.mode),
            was: None,
            is: Some(own.margin.margin),
        })
        .collect();
    let drawn = dumbbells(&cases, false).map(|mut figure| {
        figure.rows.truncate(ROWS);
        figure.json()
    });
    page.put("margins", json!(drawn));
    let all = loads.iter().map(|own| (Some(own.panel.as_str()), &own.margin));
    page.put("margin_table", margin_grid(all));
    page.put("unmet", json!(unmet(loads.iter().map(|own| &own.margin))));
    let lacking = report.map_or(&[][..], |own| own.uncomputed.as_slice());
    page.put("uncomputed", uncomputed(lacking.iter().map(|(panel, own)| (Some(panel.as_str()), own))));
}

/// What is asked of the laminate itself, bare and painted.
fn duties(site: &Site<'_>, recipe: &str) -> Grid {
    let mut grid = Grid::new(
        "Duties of the laminate, bare and painted",
        vec![("Duty", false), ("Verdict", false), ("Asks", false), ("Needed by", false)],
    );
    for duty in site.known.duties_of_laminate(recipe) {
        grid.row(vec![
            tables::duty(&duty.showing, &duty.subject.to_string()),
            tables::verdict(duty.verdict().word()),
            tables::text(duty.asks().word()),
            tables::text(duty.needed_by.as_deref().unwrap_or("")),
        ]);
    }
    grid.at_most(ROWS, "the matrix has them")
}
