//! What a study found, as JSON and as text.

use super::cost;
use super::head::CAUTION_LINE;
use super::impact::weaker_json;
use super::mass::{POUND, decimals};
use super::page::{Frame, Page, count};
use super::plan::money;
use super::table::{Align, Table};
use crate::change::cost::CostMove;
use crate::change::study::{
    Bundle, Ended, Found, LeastMargin, Outcome, Progress, Ranked, Row, Single, ThrownOut, TouchedPanel,
};
use crate::change::verdict_paragraph::thousands;
use crate::change::weaker::Weaker;
use crate::qualify::margins::signed;
use crate::quantity::UnitSystem;
use crate::record::Change;
use serde_json::{Value, json};

/// Rows and entries shown of each list; `Frame::all` shows them all.
const ROWS_SHOWN: usize = 12;
const OPEN_SHOWN: usize = 3;
const SINGLES_SHOWN: usize = 20;
const BUNDLES_SHOWN: usize = 8;

/// Returns what was found as a document of schema `study/1`.
///
/// Masses are differences of the programme's mass in kg, negative where it gets lighter; `saved_g` has the other
/// sign. A `cost` is null where rates or prices are missing, which `missing` names; `known_cost` is the rest. `open`
/// are the duties on what a row changes that are not met and were not before: a row that asks no test (`duties` is
/// empty) is `free` only where there are none. `gap_kg` and `bound_kg` are null where nothing is known of them.
/// `touched_panels` are those made of what a row changes; of one without `margin_computed`, `least_margin` says nothing.
/// `draft` is the file of the draft that was written.
pub fn json(found: &Found, draft: Option<&str>) -> Value {
    let (broken, fault) = &found.broken;
    json!({
        "schema": "study/1",
        "study": found.study,
        "title": found.title,
        "answer": answer(found, "", UnitSystem::Si).join(" "),
        "base_kg": found.base_kg,
        "goal_kg": found.goal_kg,
        "cheapest_row": found.cheapest().map(|row| row.number),
        "fewest_changes_row": found.fewest.map(|(row, _)| row),
        "fewest_changes_proven": found.fewest.map(|(_, proven)| proven),
        "space": {
            "variations": found.variations.iter().map(|(name, options)| json!({
                "name": name,
                "options": options,
            })).collect::<Vec<_>>(),
            "candidates": number(found.candidates),
            "broken": number(*broken),
            "first_fault": fault,
            "looked_at": found.looked_at,
            "judged": found.judged,
        },
        "whole": found.ended == Ended::Whole,
        "ended_by": found.ended.word(),
        "bound_kg": found.bound,
        "rows": found.rows.iter().map(row_json).collect::<Vec<_>>(),
        "singles": found.singles.iter().map(single_json).collect::<Vec<_>>(),
        "bundles": found.bundles.iter().map(bundle_json).collect::<Vec<_>>(),
        "thrown_out": found.thrown.iter().map(thrown_json).collect::<Vec<_>>(),
        "nearest_miss": found.miss.as_ref().map(|(miss, words)| json!({
            "changes": words,
            "delta_kg": miss.delta,
            "criterion": miss.criterion.word(),
            "because": miss.words,
            "shortfall": miss.shortfall,
        })),
        "draft": draft,
        "caution": CAUTION_LINE,
    })
}

/// A count as a number, as far as JSON has whole ones.
fn number(count: u128) -> Value {
    u64::try_from(count).map_or_else(|_| json!(count as f64), |own| json!(own))
}

fn row_json(own: &Ranked) -> Value {
    let row = &own.row;
    json!({
        "row": own.number,
        "free": row.is_free(),
        "among_best": own.among_best,
        "weakened": row.weaker.iter().map(weaker_json).collect::<Vec<_>>(),
        "open": row.open.iter().map(|((showing, subject), verdict)| json!({
            "showing": showing,
            "subject": subject.to_string(),
            "verdict": verdict.word(),
        })).collect::<Vec<_>>(),
        "unit_cost": cost::move_json(row.unit_cost.as_ref()),
        "delta_kg": row.delta,
        "saved_g": -row.delta * 1e3,
        "kg": row.kg,
        "weeks": row.weeks,
        "cost": row.cost,
        "known_cost": row.known_cost,
        "missing": row.missing,
        "specimens": row.specimens,
        "panels": row.panels,
        "saved_g_per_week": own.grams_per_week,
        "apart": own.apart.map(|(specimens, weeks)| json!({ "specimens": specimens, "weeks": weeks })),
        "reaches_goal": own.reaches_goal,
        "proven": own.proven,
        "gap_kg": own.gap,
        "least_margin": row.least.as_ref().map(least_json),
        "duties": row.duties.iter().map(|((showing, subject), verdict, asks)| json!({
            "showing": showing,
            "subject": subject.to_string(),
            "verdict": verdict.word(),
            "asks": asks,
        })).collect::<Vec<_>>(),
        "touched_panels": row.touched.iter().map(|own| json!({
            "panel": own.panel,
            "released": own.released,
            "margin_computed": own.has_margin,
        })).collect::<Vec<_>>(),
        "grounded": row.grounded,
        "words": own.words,
        "changes": own.changes.iter().map(change_json).collect::<Vec<_>>(),
    })
}

fn change_json(change: &Change) -> Value {
    let mut all = serde_json::Map::new();
    for (key, value) in [("set", &change.set), ("remove", &change.remove)] {
        if let Some(text) = value {
            all.insert(key.to_string(), json!(text));
        }
    }
    for (key, value) in [("was", &change.was), ("to", &change.to)] {
        if let Some(value) = value {
            all.insert(key.to_string(), serde_json::to_value(&value.0).unwrap_or(Value::Null));
        }
    }
    Value::Object(all)
}

fn least_json(own: &LeastMargin) -> Value {
    json!({ "panel": own.panel, "case": own.case, "mode": own.mode, "margin": own.margin })
}

fn single_json(own: &Single) -> Value {
    let (delta, kept, thrown) = match &own.outcome {
        Outcome::Kept(row) => (row.delta, Some(row), None),
        Outcome::Thrown(thrown) => (thrown.delta, None, Some(thrown)),
    };
    json!({
        "words": own.words,
        "delta_kg": delta,
        "weeks": kept.map(|row| row.weeks),
        "specimens": kept.map(|row| row.specimens),
        "open": kept.map(|row| row.open.len()),
        "weakened": kept.map(|row| row.weaker.len()),
        "thrown_out_by": thrown.map(|own| own.criterion.word()),
        "because": thrown.map(|own| &own.words),
    })
}

fn bundle_json(own: &Bundle) -> Value {
    json!({
        "words": own.words,
        "delta_kg": own.delta,
        "specimens": own.specimens,
        "specimens_apart": own.specimens_apart,
        "weeks": own.weeks,
        "weeks_apart": own.weeks_apart,
        "shared": own.shared,
    })
}

fn thrown_json(own: &ThrownOut) -> Value {
    json!({
        "criterion": own.criterion.word(),
        "count": own.count,
        "lighter_than_all_rows": own.lighter,
        "lightest_delta_kg": own.lightest,
        "because": own.words,
    })
}

/// Returns how far a search is, on one line.
pub fn progress(own: &Progress) -> String {
    if let Some((done, all)) = own.weighed {
        return format!("{done} of {all} combinations weighed, {} candidates to come", own.candidates);
    }
    format!(
        "{} of at most {} judged, {} of {} looked at, {:.0} g saved so far",
        own.judged,
        own.most,
        own.looked_at,
        own.candidates,
        -own.best * 1e3
    )
}

/// A difference of mass as what it saves.
fn saved(kg: f64, units: UnitSystem) -> String {
    match units {
        UnitSystem::Si => format!("{} g", thousands(-kg * 1e3)),
        UnitSystem::Imperial => format!("{} lb", decimals(-kg / POUND, 3)),
    }
}

/// How many duties stay open on what a row changes.
fn open_count(row: &Row) -> String {
    count(row.open.len(), "duty")
}

/// What a row takes.
fn takes(row: &Row, currency: &str) -> String {
    if row.is_weakened() {
        let asked = match row.duties.is_empty() {
            true => "no test".to_string(),
            false => tests(row, currency),
        };
        return format!("{asked}, by a weaker requirement");
    }
    if row.is_free() {
        return "no test at all".to_string();
    }
    if row.asks_nothing() {
        return format!("no more than is open already ({})", open_count(row));
    }
    tests(row, currency)
}

/// Weeks, specimens and cost of a row's tests.
fn tests(row: &Row, currency: &str) -> String {
    let cost = match row.cost {
        Some(_) => format!("about {}", money(row.cost, currency)),
        None if row.known_cost > 0.0 => format!("at least {}", money(Some(row.known_cost), currency)),
        None => "a cost that is not known".to_string(),
    };
    format!("{:.1} weeks, {} and {cost}", row.weeks, count(row.specimens as usize, "specimen"))
}

/// The answer in sentences.
fn answer(found: &Found, currency: &str, units: UnitSystem) -> Vec<String> {
    let mut all = Vec::new();
    match (found.goal_kg, found.cheapest()) {
        (Some(goal), Some(row)) if row.row.is_weakened() => all.push(format!(
            "Nothing that asks as much as now takes {} off; row {} saves {} for {}: {}.",
            saved(-goal, units),
            row.number,
            saved(row.row.delta, units),
            takes(&row.row, currency),
            row.words.join("; ")
        )),
        (Some(goal), Some(row)) => all.push(format!(
            "The cheapest way to take {} off: row {} saves {} for {}: {}.",
            saved(-goal, units),
            row.number,
            saved(row.row.delta, units),
            takes(&row.row, currency),
            row.words.join("; ")
        )),
        (Some(goal), None) => {
            let most = found.rows.iter().map(|row| row.row.delta).fold(0.0, f64::min);
            let most = match most < 0.0 {
                true => format!("the most is {}", saved(most, units)),
                false => "nothing lighter is kept".to_string(),
            };
            all.push(format!("Nothing that was found takes {} off: {most}.", saved(-goal, units)));
        }
        (None, _) => {}
    }
    if let Some((row, proven)) =
        found.fewest.and_then(|(number, proven)| Some((found.rows.get(number.checked_sub(1)?)?, proven)))
        && found.cheapest().is_none_or(|cheapest| cheapest.number != row.number)
    {
        let sure = if proven { "The fewest changes" } else { "The fewest changes that were judged" };
        all.push(format!(
            "{sure} that do it: row {}, {} for {}, saves {}: {}.",
            row.number,
            count(row.words.len(), "change"),
            takes(&row.row, currency),
            saved(row.row.delta, units),
            row.words.join("; ")
        ));
    }
    all.extend(for_nothing(found, units));
    let how = match found.ended {
        Ended::Whole => format!(
            "Exact in mass, weeks and cost of new tests: of {} candidates nothing that was not judged can be better; {} were judged in full, the rest is heavier than a row that asks for no new test, or thrown out by what refused its like.",
            thousands(found.candidates as f64),
            found.judged
        ),
        ended => {
            let why = match ended {
                Ended::Seconds => "the time was over".to_string(),
                Ended::Interrupted => "it was interrupted".to_string(),
                Ended::Masses => misweighed(found, units),
                Ended::Looked => format!(
                    "{} were looked at, the most that are; nearly all were thrown out by a look, by what refused their \
                     like",
                    count(usize::try_from(found.looked_at).unwrap_or(usize::MAX), "candidate")
                ),
                Ended::Limit | Ended::Whole => {
                    "as many were judged as `limits.variations` allows".to_string()
                }
            };
            let why = match found.is_weighed {
                true => why,
                false => format!("{why}, while combinations were being weighed"),
            };
            let known = found.bound.filter(|bound| bound.is_finite());
            let bound = known.map_or(String::new(), |bound| {
                format!(" All that save more than {} were looked at.", saved(bound, units))
            });
            format!(
                "Not whole: {why}. Of {} candidates {} judged in full.{bound}",
                thousands(found.candidates as f64),
                if found.judged == 1 { "1 was".to_string() } else { format!("{} were", found.judged) }
            )
        }
    };
    all.push(how);
    all
}

/// What is to be had without a new test, as far as that is known.
fn for_nothing(found: &Found, units: UnitSystem) -> Vec<String> {
    let lightest = |all: &dyn Fn(&Row) -> bool| {
        let rows = found.rows.iter().filter(|row| all(&row.row));
        rows.min_by(|one, two| one.row.delta.total_cmp(&two.row.delta))
    };
    let free = lightest(&Row::is_free);
    let open = lightest(&|row| row.asks_nothing() && !row.is_free());
    let weakened = lightest(&|row| row.is_weakened() && row.duties.is_empty());
    let mut all = Vec::new();
    all.extend(free.map(|row| {
        format!(
            "Row {} saves {} inside every window: all of what it changes is proved and stays so.",
            row.number,
            saved(row.row.delta, units)
        )
    }));
    all.extend(open.map(|row| {
        let (still, verb) = if row.row.open.len() == 1 { ("this", "is") } else { ("these", "are") };
        format!(
            "Row {} saves {} and asks no more than is open already, which does not make it proved: {} on what it changes \
             {verb} not met, and {still} {verb} still to be shown with it.",
            row.number,
            saved(row.row.delta, units),
            open_count(&row.row),
        )
    }));
    let none = all.is_empty();
    if !none && free.is_none() {
        all.push("No row that was found is free inside every window.".to_string());
    }
    all.extend(weakened.map(|row| {
        format!(
            "Row {} saves {} without a test because it asks less, which is a weaker requirement and no saving: {}.",
            row.number,
            saved(row.row.delta, units),
            row.row.weaker.first().map_or_else(String::new, Weaker::words),
        )
    }));
    if !none {
        return all;
    }
    // Nothing can be said of what was not looked at, and what was thrown out may need no test.
    let lost = found.broken.0 > 0 || found.thrown.iter().any(|own| own.lighter_than_now > 0);
    let said = match (found.ended == Ended::Whole, lost, found.rows.is_empty()) {
        (true, false, false) => {
            "Nothing is to be had for nothing: whatever gets lighter has to be proved again."
        }
        (true, true, false) => {
            "Of what keeps all that must be kept, nothing gets lighter without a new test."
        }
        (true, false, true) => "Nothing gets lighter.",
        (true, true, true) => "Nothing lighter keeps all that must be kept.",
        (false, ..) => "No row without a new test was found among those that were looked at.",
    };
    all.push(said.to_string());
    all
}

/// Why no bound of masses holds, in words.
fn misweighed(found: &Found, units: UnitSystem) -> String {
    let Some((words, sum, weighed)) = &found.misweighed else { return "masses do not add up".to_string() };
    format!(
        "{} was reckoned to save {} and saves {}, so that nothing is known of what was not judged; this is a fault of \
         the program, and the rows are right by themselves",
        words.join("; "),
        saved(*sum, units),
        saved(*weighed, units)
    )
}

/// Returns what was found as text.
pub fn text(found: &Found, draft: Option<&str>, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    let title = found.title.as_ref().map_or(String::new(), |title| format!(", {title}"));
    page.heading(&format!("study/{}{title}", found.study));
    page.paragraph(&answer(found, &frame.currency, frame.units).join(" "));
    let of =
        |class: &dyn Fn(&Row) -> bool| found.rows.iter().filter(|row| class(&row.row)).collect::<Vec<_>>();
    let of_best = |class: &dyn Fn(&Row) -> bool| -> Vec<&Ranked> {
        of(class).into_iter().filter(|own| own.among_best).collect()
    };
    let beside: Vec<&Ranked> = found.rows.iter().filter(|own| !own.among_best).collect();
    for (heading, own) in [
        ("Free inside every window", of_best(&Row::is_free)),
        (
            "No more than is open already, and not proved by it",
            of_best(&|row| row.asks_nothing() && !row.is_free()),
        ),
        ("For tests, by what a week saves", of_best(&|row| !row.asks_nothing() && !row.is_weakened())),
        ("By a weaker requirement, which shows nothing", of_best(&Row::is_weakened)),
        ("The fewest changes that save what is sought, beside the best", beside),
    ] {
        if !own.is_empty() {
            page.heading(heading);
            rows(&mut page, &own, found);
        }
    }
    if !found.rows.is_empty() {
        page.gap();
        page.paragraph(
            "What is open or lapsed as it stands stays so and is in no week, specimen or cost here; `bondline gaps` \
             lists it.",
        );
    }
    write_singles(&mut page, found);
    write_bundles(&mut page, found);
    write_thrown(&mut page, found);
    if let Some(draft) = draft {
        page.gap();
        page.paragraph(&format!("Written: {draft}. `bondline impact` with its id shows all that it does."));
    }
    page.finish_with_caution()
}

fn rows(page: &mut Page<'_>, list: &[&Ranked], found: &Found) {
    let frame = page.frame;
    let unit = if frame.units == UnitSystem::Si { "saves g" } else { "saves lb" };
    let whole = found.bound.is_none();
    let mut columns = vec![
        ("row", Align::Right),
        (unit, Align::Right),
        ("weeks", Align::Right),
        ("spec.", Align::Right),
        ("tests", Align::Right),
        ("a week", Align::Right),
        ("least margin", Align::Right),
    ];
    let priced = found.rows.iter().any(|own| own.row.unit_cost.is_some());
    if priced {
        columns.push(("unit cost", Align::Right));
    }
    if !whole {
        columns.push(("gap", Align::Right));
    }
    let mut table = Table::new(columns);
    let shown = frame.shown(list.len(), ROWS_SHOWN);
    let mass = |kg: f64| saved(kg, frame.units).trim_end_matches(" lb").trim_end_matches(" g").to_string();
    for own in list.iter().take(shown) {
        let row = &own.row;
        let tests = match row.cost {
            Some(cost) => thousands(cost),
            None if row.known_cost > 0.0 => format!("> {}", thousands(row.known_cost)),
            None => "unknown".to_string(),
        };
        let mark = if own.reaches_goal { "*" } else { "" };
        let mut cells = vec![
            format!("{mark}{}", own.number),
            mass(row.delta),
            decimals(row.weeks, 1),
            row.specimens.to_string(),
            tests,
            own.grams_per_week.map_or("-".to_string(), |rate| mass(-rate / 1e3)),
            row.least.as_ref().map_or("-".to_string(), |own| signed(own.margin)),
        ];
        if priced {
            cells.push(match row.unit_cost.as_ref().map(CostMove::delta) {
                None => "-".to_string(),
                Some(None) => "unknown".to_string(),
                Some(Some(delta)) => cost::signed_money(delta, ""),
            });
        }
        if !whole {
            cells.push(match own.gap {
                _ if own.proven => "none".to_string(),
                gap if gap.is_finite() => mass(-gap),
                _ => "unknown".to_string(),
            });
        }
        table.row(cells);
    }
    page.table(&table);
    for own in list.iter().take(shown) {
        page.hang(&format!("{:>4}  ", own.number), "      ", &own.words.join("; "));
        let mut more: Vec<String> =
            own.row.weaker.iter().map(|weaker| format!("weakened: {}", weaker.words())).collect();
        if let Some((specimens, weeks)) = own.apart
            && (own.row.specimens < specimens || own.row.weeks < weeks)
            && own.words.len() > 1
        {
            more.push(format!(
                "one after the other it would be {} and {weeks:.1} weeks",
                count(specimens as usize, "specimen")
            ));
        }
        more.extend(touched(&own.row));
        if let Some(least) = &own.row.least {
            more.push(format!("least margin: {}, {}, {}", least.panel, least.case, least.mode));
        }
        if !own.row.open.is_empty() {
            let shown = frame.shown(own.row.open.len(), OPEN_SHOWN);
            let named = own.row.open.iter().take(shown);
            let names: Vec<String> = named
                .map(|((showing, subject), verdict)| format!("{showing} of {subject} {verdict}"))
                .collect();
            let rest = match own.row.open.len() - shown {
                0 => String::new(),
                many => format!(", and {many} more"),
            };
            more.push(format!("open already, and not paid for here: {}{rest}", names.join(", ")));
        }
        if !own.proven && own.among_best && whole {
            more.push(format!(
                "the lightest that was judged; one that was not may be up to {} lighter",
                saved(-own.gap, frame.units)
            ));
        }
        if !own.row.grounded.is_empty() {
            more.push(format!("released and no longer covered: {}", own.row.grounded.join(", ")));
        }
        if let Some(unit) = own.row.unit_cost.as_ref().filter(|unit| unit.is_moved()) {
            let hours = unit.delta_hours().map_or("hours can't be compared".to_string(), cost::signed_hours);
            more.push(format!("one aircraft: {}, labour {hours}", cost::delta_words(unit)));
        }
        if !own.row.missing.is_empty() {
            more.push(format!("not in the cost: {}", own.row.missing.join(", ")));
        }
        for one in more {
            page.hang("      = ", "        ", &one);
        }
    }
    if shown < list.len() {
        page.line(&format!("and {} more; --all shows them", list.len() - shown));
    }
    if list.iter().any(|own| own.reaches_goal) {
        page.line("* saves what is sought");
    }
    if !whole {
        page.paragraph("gap: how much lighter than the row one that was not looked at might be.");
    }
}

/// The panels of a row, and those of them for which nothing holds a margin.
fn touched(row: &Row) -> Vec<String> {
    let mut all = Vec::new();
    let named = |own: &TouchedPanel| match own.released {
        true => format!("{} (released)", own.panel),
        false => own.panel.clone(),
    };
    if !row.touched.is_empty() {
        all.push(format!("on {}", row.touched.iter().map(named).collect::<Vec<_>>().join(", ")));
    }
    let without: Vec<String> = row.touched.iter().filter(|own| !own.has_margin).map(named).collect();
    if !without.is_empty() {
        all.push(format!("no margin is computed for {}", without.join(", ")));
    }
    all
}

fn write_singles(page: &mut Page<'_>, found: &Found) {
    if found.singles.is_empty() {
        return;
    }
    let frame = page.frame;
    page.heading("Each change alone");
    let mut table = Table::new([
        ("change", Align::Left),
        ("saves", Align::Right),
        ("weeks", Align::Right),
        ("spec.", Align::Right),
        ("", Align::Left),
    ]);
    let shown = frame.shown(found.singles.len(), SINGLES_SHOWN);
    for own in found.singles.iter().take(shown) {
        let of = |row: &Row| (row.delta, decimals(row.weeks, 1), row.specimens.to_string());
        let ((delta, weeks, specimens), said) = match &own.outcome {
            Outcome::Kept(row) if row.is_weakened() => (of(row), "weaker requirement".to_string()),
            Outcome::Kept(row) if row.is_free() => (of(row), "free".to_string()),
            Outcome::Kept(row) if row.open.is_empty() => (of(row), String::new()),
            Outcome::Kept(row) => (of(row), format!("{} open already", row.open.len())),
            Outcome::Thrown(own) => {
                ((own.delta, "-".to_string(), "-".to_string()), own.criterion.word().to_string())
            }
        };
        let cells = [own.words.clone(), saved(delta, frame.units), weeks, specimens, said];
        table.row(cells);
    }
    page.table(&table);
    if shown < found.singles.len() {
        page.line(&format!("and {} more; --all shows them", found.singles.len() - shown));
    }
}

fn write_bundles(page: &mut Page<'_>, found: &Found) {
    if found.bundles.is_empty() {
        return;
    }
    page.heading("Do together: these share tests");
    let shown = page.frame.shown(found.bundles.len(), BUNDLES_SHOWN);
    for own in found.bundles.iter().take(shown) {
        let shared = match own.shared.len() {
            0 => String::new(),
            many if many > 3 => {
                let named = own.shared.get(..3).unwrap_or_default().join(", ");
                format!("; both ask {named} and {} more", many - 3)
            }
            _ => format!("; both ask {}", own.shared.join(", ")),
        };
        page.hang(
            "- ",
            "  ",
            &format!(
                "{}: {} instead of {}, {:.1} weeks instead of {:.1} one after the other{shared}",
                own.words.join(", and "),
                count(own.specimens as usize, "specimen"),
                own.specimens_apart,
                own.weeks,
                own.weeks_apart
            ),
        );
    }
    if shown < found.bundles.len() {
        page.line(&format!("and {} more; --all shows them", found.bundles.len() - shown));
    }
}

fn write_thrown(page: &mut Page<'_>, found: &Found) {
    let (broken, fault) = &found.broken;
    if !found.thrown.is_empty() || *broken > 0 {
        page.heading("Thrown out");
    }
    if !found.thrown.is_empty() {
        let mut table = Table::new([
            ("by", Align::Left),
            ("candidates", Align::Right),
            ("lighter than all rows", Align::Right),
            ("the lightest saves", Align::Right),
        ]);
        for own in &found.thrown {
            table.row([
                own.criterion.word().to_string(),
                thousands(own.count as f64),
                thousands(own.lighter as f64),
                saved(own.lightest, page.frame.units),
            ]);
        }
        page.table(&table);
        for own in &found.thrown {
            page.hang("- ", "  ", &format!("{}: {}", own.criterion.word(), own.words));
        }
    }
    if *broken > 0 {
        let fault = fault.as_ref().map_or(String::new(), |fault| format!(", such as: {fault}"));
        page.hang(
            "- ",
            "  ",
            &format!(
                "{} more combinations would leave a fault in the records{fault}",
                thousands(*broken as f64)
            ),
        );
    }
    if let Some((miss, words)) = &found.miss {
        page.gap();
        page.paragraph(&format!(
            "Nearest miss: {} would save {}, but: {}.",
            words.join("; "),
            saved(miss.delta, page.frame.units),
            miss.words
        ));
    }
}
