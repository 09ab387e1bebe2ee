//! The sheet of a panel: what it weighs, carries, bears of sun and water, costs, and what is asked of it.

use super::Site;
use super::bars::{Bar, bars};
use super::bearing;
use super::known::counted;
use super::margins::words as margin_words;
use super::records::{Made, common, used_and_using};
use super::stacks::alone;
use super::svg::cut;
use super::tables::{self, Facts, Grid, Page, Row};
use crate::article::ArticleError;
use crate::article::stack::stack;
use crate::article::weigh::{PanelMass, PanelPieces, Scope, statement};
use crate::calc::figure;
use crate::ledger::Entry;
use crate::qualify::margins::{HeatReport, Moisture, PanelMargins, ToolCheck, moisture, tool_checks};
use crate::qualify::verdict::{DutyKey, Judged, Verdict};
use crate::quantity::UnitSystem;
use crate::record::{ComputedCheck, Exposure, Panel};
use crate::report::margins::mode_words;
use crate::report::mass::decimals;
use crate::report::page::count;
use crate::report::panel::{colour_words, each_words};
use crate::report::reason::reasons_json;
use serde_json::{Value, json};
use std::collections::BTreeSet;

/// Laminates drawn; further ones lead to their own sheet.
const STACKS: usize = 4;
/// Rows of a ply table.
const PLIES: usize = 120;
/// Rows of a table: what is beyond is left to the command.
const ROWS: usize = 150;
/// Duties whose reasons are told.
const TOLD: usize = 40;
/// Reasons of one duty.
const REASONS: usize = 12;
/// What a cell says of a reason.
const CELL: f64 = 900.0;

/// Template, title and context.
pub(super) fn context(site: &Site<'_>, panel: &Entry<Panel>) -> Made {
    let known = &site.known;
    let own = &*panel.value;
    let ledger = site.inputs.ledger;
    let mut page = Page::default();
    let duties = known.duties_of_panel(&panel.id);
    let alone = known.mass(&panel.id).is_none().then(|| statement(ledger, Scope::Panel(panel.id.clone())));
    let mass = match (&alone, known.mass(&panel.id)) {
        (_, Some(own)) => Ok(own),
        (Some(Ok(own)), None) => own.panels.first().ok_or_else(|| "it is in no use".to_string()),
        (Some(Err(missing)), None) => Err(missing.to_string()),
        (None, None) => Err("it is in no use".to_string()),
    };
    let margins = known.margins(&panel.id);
    page.put("called", json!(own.title));
    page.put("opening", json!(opening(panel, mass.as_ref().ok().copied(), &margins, duties)));
    page.put("facts_of", facts(own));
    common(&mut page, &panel.file, &own.notes);
    put_mass(&mut page, mass);
    page.put("weighings", known.pieces(&panel.id).map(weighings));
    put_zones(&mut page, site, own);
    bearing::put(&mut page, own, &margins);
    let heat = known.heat(&panel.id);
    match &heat {
        Ok(heat) => {
            page.put("heat", heat_grid(&heat.0));
            let lacking = heat.0.iter().flat_map(|own| &own.lacking).chain(&heat.1);
            page.put("heat_notes", json!(lacking.collect::<BTreeSet<_>>()));
        }
        Err(missing) => {
            page.put("heat", Value::Null);
            page.put("heat_notes", json!([missing.to_string()]));
        }
    }
    let duties_of = &site.inputs.evaluation.duties;
    page.put("moisture", moisture(ledger, duties_of, panel).ok().map(|own| moisture_grid(&own)));
    let (checks, lacks) = tool_checks(ledger, duties_of, panel)
        .unwrap_or_else(|missing| (Vec::new(), vec![missing.to_string()]));
    page.put("tooling", tool_grid(&checks));
    page.put("tooling_lacks", json!(lacks));
    put_cost(&mut page, site, &panel.id);
    page.put("duties", duty_grid(duties));
    page.put("told", told(duties));
    used_and_using(
        &mut page,
        site,
        &crate::record::Address::new(crate::record::RecordKind::Panel, &panel.id),
    );
    ("panel.html", format!("panel/{}", panel.id), page)
}

/// The paragraph that the sheet begins with.
fn opening(
    panel: &Entry<Panel>,
    mass: Option<&PanelMass>,
    margins: &Result<std::sync::Arc<PanelMargins>, ArticleError>,
    duties: &[(&DutyKey, &Judged)],
) -> String {
    let released = match (panel.value.released, &panel.value.released_for) {
        (true, Some(milestone)) => format!("released for {milestone}"),
        (true, None) => "released".to_string(),
        (false, _) => "not released".to_string(),
    };
    let mass = mass.map_or(String::new(), |own| each_words(own, UnitSystem::Si));
    let least = match margins {
        Ok(own) => match own.governing(ComputedCheck::Margins) {
            Some(least) => format!(
                "The least margin is {}: {}, by {}.",
                margin_words(least.margin),
                least.case,
                mode_words(least)
            ),
            None => "No margin is computed.".to_string(),
        },
        Err(missing) => format!("No margin can be computed: {missing}."),
    };
    let lacking = match margins.as_ref().map_or(0, |own| own.uncomputed.len()) {
        0 => String::new(),
        n => format!(" {} cannot be computed.", count(n, "further margin")),
    };
    let met = duties.iter().filter(|(_, judged)| judged.verdict.is_closed()).count();
    format!(
        "The panel is {released}{mass}. {least}{lacking} {met} of {} are met or conceded.",
        count(duties.len(), "duty")
    )
}

fn facts(own: &Panel) -> Facts {
    let mut facts = Facts::default();
    facts.written("Group", own.group.as_ref().map(|own| own.as_str()));
    facts.written("Quantity", own.quantity.map(|own| own.to_string()));
    facts.written("Class", own.class.map(|own| own.word()));
    facts.written("Load path", own.load_path.map(|own| own.word()));
    if let Some(tool) = &own.tool {
        facts.add("Tool", tables::record("tool", tool.id()));
    }
    facts.written("Exposure", own.exposure.as_ref().map(exposure));
    facts.written("Painted", own.painted.map(|own| own.word()));
    facts.written("Overlap", own.overlap.as_ref().map(|own| own.text()));
    facts.written("Mass is", own.maturity.map(|own| own.word()));
    facts.written("Owner", own.owner.as_ref());
    facts.written("Specification", own.spec.as_ref());
    facts.written("Source", own.source.as_ref());
    facts
}

fn exposure(own: &Exposure) -> String {
    let mut all: Vec<String> = Vec::new();
    all.extend(own.zone.as_ref().map(ToString::to_string));
    all.extend(own.lightning.as_ref().map(|zone| format!("lightning zone {zone}")));
    all.extend(own.moisture.as_ref().map(ToString::to_string));
    all.extend(own.minimum.as_ref().map(|own| format!("down to {}", own.text())));
    all.extend((own.compartment == Some(true)).then(|| "faces a compartment".to_string()));
    all.extend((own.sun == Some(false)).then(|| "in the shade".to_string()));
    if !own.fluids.is_empty() {
        all.push(format!(
            "fluids {}",
            own.fluids.iter().map(ToString::to_string).collect::<Vec<_>>().join(", ")
        ));
    }
    all.join("; ")
}

fn put_mass(page: &mut Page, mass: Result<&PanelMass, String>) {
    let own = match mass {
        Ok(own) => own,
        Err(why) => {
            page.put("mass", Value::Null);
            page.put("balance", Value::Null);
            page.put("mass_words", json!(format!("The mass can't be worked out: {why}.")));
            return;
        }
    };
    let pieces = own.contributions.iter().map(|piece| Bar {
        name: format!("{}, {}", piece.what, piece.place),
        value: piece.kg,
        words: format!("{} kg", decimals(piece.kg, 3)),
    });
    let drawn = bars(pieces.collect(), "What one panel is made of, as predicted", ("kg", "kg"));
    page.put("mass", drawn);
    let predicted: f64 = own.contributions.iter().map(|piece| piece.kg).sum();
    let weighed = match own.weighings {
        0 => String::new(),
        n => format!(
            " It stands on {}; the prediction alone is {} kg.",
            count(n, "weighing"),
            decimals(predicted, 3)
        ),
    };
    let provisional =
        if own.provisional { " The finish is not settled: the mass is provisional." } else { "" };
    page.put(
        "mass_words",
        json!(format!(
            "One weighs {} kg ({}); {} on an aircraft: {} kg, between {} and {} kg, with growth {} kg.{weighed}{provisional}",
            decimals(own.one_kg(), 3),
            own.maturity,
            own.quantity,
            decimals(own.kg, 3),
            decimals(own.low_kg, 3),
            decimals(own.high_kg, 3),
            decimals(own.with_growth_kg, 3),
        )),
    );
    page.put(
        "balance",
        json!(own.balance.as_ref().map(|own| {
            let limit =
                own.limit_kg_m.map_or(String::new(), |limit| format!(", limit {} kg m", figure(limit)));
            let kept = match own.ok {
                Some(true) => ": kept",
                Some(false) => ": exceeded",
                None => "",
            };
            format!("Balance: {} kg m aft of the hinge{limit}{kept}.", figure(own.moment_kg_m))
        })),
    );
}

fn weighings(own: &PanelPieces) -> Grid {
    let mut grid = Grid::new(
        "On the scale",
        vec![
            ("Piece", false),
            ("Condition", false),
            ("On", true),
            ("Weighed, kg", true),
            ("Predicted, kg", true),
            ("Residual, kg", true),
            ("%", true),
            ("Standing", false),
            ("Words", false),
        ],
    );
    for (piece, reading) in own.readings() {
        let one = &reading.residual;
        let words = match (&one.disposition, &one.explained) {
            (Some(own), _) => format!("{}; {} on {}", own.cause.trim(), own.by, own.on),
            (None, Some(words)) => words.clone(),
            (None, None) => String::new(),
        };
        let now = if one.as_built { "" } else { " now" };
        grid.row(vec![
            tables::short(Some(piece.serial.as_deref().unwrap_or(&one.weighing))),
            tables::text(one.condition.word()),
            tables::number(one.on.map_or_else(String::new, |day| day.to_string())),
            tables::number(decimals(one.weighed_kg, 3)),
            tables::number(format!("{}{now}", decimals(one.predicted_kg, 3))),
            tables::number(super::filters::signed(one.kg(), 3)),
            tables::number(one.percent().map_or_else(String::new, |own| super::filters::signed(own, 1))),
            tables::text(one.standing.word().replace('-', " ")),
            tables::short(Some(&words)),
        ]);
    }
    grid.at_most(ROWS, "`bondline mass --weighings` lists them")
}

fn put_zones(page: &mut Page, site: &Site<'_>, own: &Panel) {
    let mut zones = Grid::new(
        "Zones",
        vec![
            ("Zone", false),
            ("Area", true),
            ("Recipe", false),
            ("Finish", false),
            ("Exposure of its own", false),
        ],
    );
    for zone in &own.zones {
        let made = match (&zone.recipe, &zone.sheet) {
            (Some(recipe), _) => tables::record("recipe", recipe.id()),
            (None, Some(sheet)) => {
                tables::text(format!("{}, {}", sheet.material.id(), sheet.thickness.text()))
            }
            (None, None) => tables::text("none"),
        };
        zones.row(vec![
            tables::short(Some(zone.name.as_str())),
            tables::number(zone.area.text()),
            made,
            zone.finish
                .as_ref()
                .map_or_else(|| tables::text("bare"), |own| tables::record("finish", own.id())),
            tables::text(zone.exposure.as_ref().map_or_else(String::new, exposure)),
        ]);
    }
    page.put("zones", zones.at_most(ROWS, "they stand in the record"));
    let mut joints = Grid::new(
        "Joints, edges and fittings",
        vec![("What", false), ("Of", false), ("Process", false), ("Between", false), ("Size", true)],
    );
    for joint in &own.joints {
        let between =
            joint.between.as_ref().map_or_else(String::new, |[one, two]| format!("{one} and {two}"));
        joints.row(vec![
            tables::short(Some(&format!("joint {}", joint.name))),
            tables::text(joint.adhesive.id()),
            tables::text(joint.process.as_ref().map_or("", |own| own.id())),
            tables::short(Some(&between)),
            tables::number(format!("{} x {}", joint.length.text(), joint.width.text())),
        ]);
    }
    for edge in &own.edges {
        joints.row(vec![
            tables::short(Some(&format!("edge {}", edge.name.as_ref().map_or("", |own| own.as_str())))),
            tables::text(edge.part.id()),
            tables::text(""),
            tables::text(""),
            tables::number(edge.length.text()),
        ]);
    }
    for fitting in &own.fittings {
        joints.row(vec![
            tables::short(Some(&format!("fitting {}", fitting.name.as_ref().map_or("", |own| own.as_str())))),
            tables::text(fitting.part.id()),
            tables::text(""),
            tables::text(""),
            tables::number(format!("{} pieces", fitting.count.unwrap_or(1))),
        ]);
    }
    page.put("joints", joints.at_most(ROWS, "they stand in the record"));
    let mut recipes: Vec<&str> = Vec::new();
    for recipe in own.zones.iter().filter_map(|zone| zone.recipe.as_ref()) {
        if !recipes.contains(&recipe.id()) {
            recipes.push(recipe.id());
        }
    }
    let drawn: Vec<Value> = recipes
        .iter()
        .take(STACKS)
        .filter_map(|id| {
            let mut figure = alone(&stack(site.inputs.ledger, id).ok()?, id);
            // The recipe has a sheet of its own.
            figure.rows.truncate(PLIES);
            Some(figure.json())
        })
        .collect();
    page.put("stacks", json!(drawn));
    page.put("more_stacks", json!(recipes.iter().skip(STACKS).collect::<Vec<_>>()));
}

/// Heat by zone and by what limits it.
pub(super) fn heat_grid(all: &[HeatReport]) -> Grid {
    let mut grid = Grid::new(
        "Skin temperature on the design day, and what it must stay below",
        vec![
            ("Zone", false),
            ("Surface", false),
            ("Absorptance", true),
            ("On the ramp, °C", true),
            ("When loaded, °C", true),
            ("Limit", false),
            ("at, °C", true),
            ("To spare, K", true),
            ("Absorptance that keeps all", false),
        ],
    );
    for own in all {
        let colour = own.colour.as_ref().map_or(String::new(), |(limit, by)| {
            let by = by.as_ref().map_or(String::new(), |by| format!("; {by} governs"));
            format!("{}{by}", colour_words(limit))
        });
        let head = || {
            vec![
                tables::short(Some(&own.zone)),
                tables::text(&own.surface),
                tables::number(decimals(own.absorptance, 2)),
                tables::number(decimals(own.ramp - 273.15, 1)),
                tables::number(decimals(own.structural - 273.15, 1)),
            ]
        };
        if own.limits.is_empty() {
            let mut cells = head();
            cells.extend([
                tables::text("none known"),
                tables::number(""),
                tables::number(""),
                tables::text(&colour),
            ]);
            grid.row(cells);
        }
        for (limit, spare) in &own.limits {
            let rule = if limit.is_tg { ", less 28 K" } else { "" };
            let mut cells = head();
            cells.extend([
                tables::text(format!("{}{rule}", limit.what)),
                tables::number(decimals(limit.temperature - 273.15, 1)),
                tables::number(super::filters::signed(*spare, 1)),
                tables::text(&colour),
            ]);
            grid.row(cells);
        }
    }
    grid.at_most(ROWS, "`bondline panel` lists them")
}

fn moisture_grid(all: &[Moisture]) -> Grid {
    let mut grid = Grid::new(
        "Time to 95 % of equilibrium in the chamber (Fick)",
        vec![
            ("Zone", false),
            ("Of", false),
            ("Thickness, mm", true),
            ("Both sides open, d", true),
            ("One side, d", true),
            ("Assumed", false),
        ],
    );
    for own in all {
        grid.row(vec![
            tables::short(Some(&own.zone)),
            tables::text(&own.of),
            tables::number(decimals(own.thickness * 1e3, 2)),
            tables::number(decimals(own.both / 86_400.0, 1)),
            tables::number(decimals(own.one / 86_400.0, 1)),
            tables::text(own.assumption.as_deref().unwrap_or("")),
        ]);
    }
    grid.at_most(ROWS, "`bondline panel` lists them")
}

/// Checks of tools.
pub(super) fn tool_grid(all: &[ToolCheck]) -> Grid {
    let mut grid = Grid::new(
        "Checks of the tools",
        vec![("Tool", false), ("Check", false), ("Finds", false), ("Rule", false), ("Source", false)],
    );
    for own in all {
        let kept = match own.ok {
            Some(true) => "kept",
            Some(false) => "not kept",
            None => "for the toolmaker",
        };
        grid.row(vec![
            tables::record("tool", &own.tool),
            tables::text(&own.what),
            tables::text(&own.words),
            tables::text(kept),
            tables::text(own.source),
        ]);
    }
    grid.at_most(ROWS, "`bondline panel` lists them")
}

fn put_cost(page: &mut Page, site: &Site<'_>, panel: &str) {
    let Some((own, currency)) = site.known.cost(panel) else {
        page.put("cost", Value::Null);
        page.put("cost_words", Value::Null);
        page.put("cost_lacks", Value::Null);
        return;
    };
    let each = &own.each;
    let least = if each.is_whole() { "" } else { "at least " };
    page.put(
        "cost_words",
        json!(format!(
            "One costs {least}{} {currency}: bought {}, share of the mould {}, labour {} for {} h.",
            decimals(each.total(), 0),
            decimals(each.materials, 0),
            decimals(each.moulds, 0),
            decimals(each.labour, 0),
            decimals(each.hours, 1)
        )),
    );
    page.put("cost_lacks", json!(each.missing.iter().take(40).collect::<Vec<_>>()));
    let lines = own.lines.iter().filter(|line| line.amount > 0.0).map(|line| Bar {
        name: format!("{}, {}", line.what, line.place),
        value: line.amount,
        words: format!("{} {currency}", decimals(line.amount, 0)),
    });
    let unit = format!("{currency} each");
    let figure = bars(lines.collect(), "What one panel costs to make", (&unit, "cost"));
    page.put("cost", figure);
}

fn duty_grid(duties: &[(&DutyKey, &Judged)]) -> Grid {
    let mut all: Vec<&(&DutyKey, &Judged)> = duties.iter().collect();
    all.sort_by_key(|(key, judged)| (std::cmp::Reverse(judged.gravity()), *key));
    let mut grid = Grid::new(
        "Duties of this panel, the gravest first",
        vec![
            ("Duty", false),
            ("Verdict", false),
            ("Asks", false),
            ("Evidence", false),
            ("Under way", false),
            ("Criterion", false),
        ],
    );
    for ((showing, subject), judged) in all.iter().take(ROWS) {
        grid.row(Row {
            cells: vec![
                tables::duty(showing, &subject.to_string()),
                tables::verdict(judged.verdict.word()),
                tables::text(judged.asks.word()),
                tables::records("evidence", &judged.evidence, 4),
                tables::records("evidence", &judged.under_way, 4),
                tables::text(cut(judged.criterion.as_deref().unwrap_or(""), CELL)),
            ],
            id: None,
            data: vec![("verdicts", judged.verdict.word().to_string())],
        });
    }
    if duties.len() > ROWS {
        grid.note = Some(format!(
            "{} more rows: the matrix and `bondline panel --all` have them",
            duties.len() - ROWS
        ));
    }
    grid
}

/// Why duties are not met, the gravest first.
fn told(duties: &[(&DutyKey, &Judged)]) -> Value {
    let mut open: Vec<&(&DutyKey, &Judged)> =
        duties.iter().filter(|(_, judged)| judged.verdict != Verdict::Met).collect();
    open.sort_by_key(|(key, judged)| (std::cmp::Reverse(judged.gravity()), *key));
    let one = |((showing, subject), judged): &&(&DutyKey, &Judged)| {
        let mut because = reasons_json(&judged.because);
        let left = because.len().saturating_sub(REASONS);
        because.truncate(REASONS);
        let own: Vec<Value> = reasons_json(&judged.own).into_iter().take(REASONS).collect();
        json!({
            "showing": showing,
            "subject": subject.to_string(),
            "verdict": judged.verdict.word(),
            "asks": judged.asks.to_string(),
            "because": because,
            "own": own,
            "left": left,
        })
    };
    json!({
        "duties": open.iter().take(TOLD).map(one).collect::<Vec<_>>(),
        "left": open.len().saturating_sub(TOLD),
        "counts": counted(duties.iter().map(|(_, judged)| judged.verdict))
            .iter().map(|(word, n)| json!({ "word": word, "n": n })).collect::<Vec<_>>(),
    })
}
