//! How far each figure can move before something lapses, as JSON and as text.

use super::head::CAUTION_LINE;
use super::mass::decimals;
use super::page::{Frame, Page, count};
use super::plan::money;
use super::reason::{names, reasons_json};
use crate::change::leeway::{ANY_OTHER, Attribute, Figure, Found, GRID, More, Side, Way};
use crate::qualify::margins::signed;
use crate::qualify::retest::RetestPlan;
use crate::qualify::verdict::Verdict;
use crate::record::Address;
use crate::record::sensitivity::Asks;
use serde_json::{Value, json};

/// Duties named of one edge, and places shown of one record.
const DUTIES_SHOWN: usize = 3;
const PANELS_SHOWN: usize = 4;
/// Figures named that are next to their edge, and that have mass to give.
const TIGHT_SHOWN: usize = 12;

/// Says how it was looked.
const LOOK: &str = "Each figure is moved by itself with its tolerance, all else as it stands: first a look one step \
     beside it and at 1, 2, 5, 10, 20, 35, 50, 75 and 100 % of the way to the bound, then halving. A step is one of the \
     third digit, or of the last that is written where those are more: an edge is the last such figure that loses \
     nothing. What lapses and comes back between two looks is not seen. Several moves at once may meet an edge \
     earlier.";

/// Returns the leeway as a document of schema `leeway/1`; `of` is what was asked about, `None` for all in use.
pub fn json(of: Option<&Address>, attributes: &[Attribute]) -> Value {
    json!({
        "schema": "leeway/1",
        "of": of.map(ToString::to_string),
        "looks_percent_of_way": GRID,
        "rows": rows(attributes).iter().map(|(address, tightest, gain)| json!({
            "of": address.to_string(),
            "tightest": tightest.map(|one| one.knob.place()),
            "tightest_share": tightest.and_then(Attribute::tightness),
            "on_edge": on_edge(attributes, address),
            "stuck": attributes.iter().filter(|one| one.of.contains(address) && one.is_stuck()).count(),
            "most_to_gain": gain.map(|(one, _)| one.knob.place()),
            "most_to_gain_kg": gain.map(|(_, kg)| kg),
        })).collect::<Vec<_>>(),
        "attributes": attributes.iter().map(attribute_json).collect::<Vec<_>>(),
        "caution": CAUTION_LINE,
    })
}

fn attribute_json(one: &Attribute) -> Value {
    let (mut now, mut down, mut up, mut other, mut see) =
        (Value::Null, Value::Null, Value::Null, Value::Null, Value::Null);
    match &one.way {
        Way::Figure(figure, low, high) => {
            now = json!(figure.text);
            let side = |side: &Option<Side>| side.as_ref().map(|side| side_json(one, figure, side));
            (down, up) = (json!(side(low)), json!(side(high)));
        }
        Way::Word(word, any) => {
            now = json!(word);
            other = json!(any.as_ref().map(|any| {
                json!({ "tried": any.tried, "lost": found_json(&any.lost), "retest": again_json(&any.retest) })
            }));
        }
        Way::Reference(to) => see = json!(to.to_string()),
    }
    json!({
        "address": one.knob.place(),
        "attribute": one.knob.attribute,
        "facet": one.knob.facet,
        "of": one.of.iter().map(ToString::to_string).collect::<Vec<_>>(),
        "now": now,
        "share": one.tightness(),
        "stuck": one.is_stuck(),
        "down": down,
        "up": up,
        "any_other": other,
        "see": see,
    })
}

fn side_json(one: &Attribute, figure: &Figure, side: &Side) -> Value {
    json!({
        "edge": side.edge.map(|edge| figure.nominal(edge)),
        "beyond": side.beyond.map(|beyond| figure.nominal(beyond)),
        "step": side.edge.map(|edge| step(figure, edge)),
        "step_film_g_m2": side.edge.zip(one.film_g_m2).map(|(edge, film)| {
            figure.number(edge - figure.now).to_f64() * film
        }),
        "bound": figure.nominal(side.bound),
        "bound_is_end_of_range": side.is_end,
        "refused": side.refused.map(|refused| figure.nominal(refused)),
        "gain_kg": side.gain_kg,
        "lost_beyond": side.edge.map(|_| found_json(&side.lost)),
        "retest": again_json(&side.retest),
    })
}

fn found_json(found: &Found) -> Value {
    json!({
        "duties": found.lapses.iter().map(|lapse| json!({
            "showing": lapse.showing,
            "subject": lapse.subject.to_string(),
            "now": lapse.now.word(),
            "asks": lapse.asks.to_string(),
            "panels": lapse.panels,
            "because": reasons_json(&lapse.because),
        })).collect::<Vec<_>>(),
        "asks_more": found.more.iter().map(|more| json!({
            "showing": more.showing,
            "subject": more.subject.to_string(),
            "was": more.was.map(Verdict::word),
            "was_asks": more.was_asks.map(Asks::word),
            "now": more.now.word(),
            "asks": more.asks.to_string(),
            "panels": more.panels,
        })).collect::<Vec<_>>(),
        "margins": found.margins.iter().map(|margin| json!({
            "panel": margin.panel,
            "case": margin.case,
            "mode": margin.mode,
            "was": margin.was,
            "is": margin.margin,
        })).collect::<Vec<_>>(),
        "budgets": found.budgets,
        "balance": found.balance,
    })
}

fn again_json(plan: &Option<RetestPlan>) -> Value {
    json!(plan.as_ref().map(|plan| json!({
        "specimens": plan.specimens,
        "panels": plan.panels,
        "weeks": plan.weeks,
        "cost": plan.cost,
        "missing": plan.missing,
    })))
}

/// What was asked about, each with its tightest figure and the one that has most mass to give inside its edges.
type Row<'a> = (Address, Option<&'a Attribute>, Option<(&'a Attribute, f64)>);

fn rows(attributes: &[Attribute]) -> Vec<Row<'_>> {
    let mut all: Vec<Row<'_>> = Vec::new();
    let mut asked: Vec<&Address> = attributes.iter().flat_map(|one| &one.of).collect();
    asked.sort();
    asked.dedup();
    for address in asked {
        let own = || attributes.iter().filter(|one| one.of.contains(address));
        let edged = || own().filter(|one| one.tightness().is_some());
        // What stands on its edge has no way left to speak of: the next step is of what can still move.
        let free = edged().any(|one| one.tightness() > Some(0.0));
        let some = edged().any(|one| !one.is_stuck());
        let tightest =
            edged().filter(|one| !free || one.tightness() > Some(0.0)).filter(|one| !some || !one.is_stuck());
        let share = |one: &Attribute| one.tightness().unwrap_or(f64::INFINITY);
        let tightest = tightest.min_by(|one, two| share(one).total_cmp(&share(two)));
        let gain = own().filter_map(|one| Some((one, gain(one)?)));
        let gain = gain.min_by(|(_, one), (_, two)| one.total_cmp(two));
        all.push((address.clone(), tightest, gain));
    }
    let share = |row: &Row<'_>| row.1.and_then(Attribute::tightness).unwrap_or(f64::INFINITY);
    all.sort_by(|one, two| share(one).total_cmp(&share(two)).then_with(|| one.0.cmp(&two.0)));
    all
}

/// The most that one figure takes off inside its edges, in kg, below nothing.
fn gain(one: &Attribute) -> Option<f64> {
    let Way::Figure(_, down, up) = &one.way else { return None };
    let kg = [down, up].into_iter().flatten().filter_map(|side| side.gain_kg);
    kg.reduce(f64::min).filter(|kg| *kg < -0.0005)
}

/// A step from now in the unit that people think in.
fn step(figure: &Figure, edge: i64) -> String {
    let step = figure.number(edge - figure.now);
    let sign = if edge >= figure.now { "+" } else { "" };
    let unit = match figure.unit.as_str() {
        "%" => "points",
        "degC" => "K",
        unit => unit,
    };
    format!("{sign}{} {unit}", step.six_digits()).trim_end().to_string()
}

/// Returns the leeway as text: with `of` every attribute behind it, without one row for each recipe and finish.
pub fn text(of: Option<&Address>, attributes: &[Attribute], frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.paragraph(&opening(of, attributes));
    page.gap();
    page.paragraph(LOOK);
    match of {
        None => overview(&mut page, attributes),
        Some(_) => each(&mut page, attributes),
    }
    page.finish_with_caution()
}

fn opening(of: Option<&Address>, attributes: &[Attribute]) -> String {
    let figures: Vec<&Attribute> =
        attributes.iter().filter(|one| matches!(one.way, Way::Figure(..))).collect();
    let edged = figures.iter().filter(|one| one.tightness().is_some()).count();
    let stuck = figures.iter().filter(|one| one.is_stuck()).count();
    let at_edge = figures.iter().filter(|one| one.tightness() == Some(0.0)).count() - stuck;
    let what = of.map_or_else(|| "the recipes and finishes in use".to_string(), ToString::to_string);
    let rest = match figures.len() - edged {
        0 => String::new(),
        n => format!(" Of {n} no rule asks anything as far as was looked: that is no permission."),
    };
    let verb = if edged == 1 { "has" } else { "have" };
    format!(
        "{} behind {what} looked at; {edged} of them {verb} an edge beyond which something that holds is lost or a duty \
         asks more: {stuck} can't be moved at all, and {at_edge} more only one way.{rest}",
        count(figures.len(), "figure")
    )
}

fn overview(page: &mut Page<'_>, attributes: &[Attribute]) {
    let all = rows(attributes);
    page.heading("The tightest figure behind each that can still move, the least first");
    for (address, tightest, _) in &all {
        let on_edge = on_edge(attributes, address);
        let stuck = match on_edge {
            0 => String::new(),
            n => format!("; {} on an edge", count(n, "figure")),
        };
        let Some(one) = tightest else {
            page.hang("", "    ", &format!("{address}: no figure has an edge, that is no permission"));
            continue;
        };
        let Way::Figure(figure, down, up) = &one.way else { continue };
        if one.is_stuck() {
            let now = figure.nominal(figure.now);
            let words = format!("{address}: {} {now} can't be moved at all{stuck}", one.knob.place());
            page.hang("", "    ", &words);
            for (words, again) in stuck_words(page, down, up) {
                page.hang("    ", "      ", &words);
                again.iter().for_each(|again| page.hang("    = ", "      ", again));
            }
            continue;
        }
        let edge = |side: &Option<Side>| edge_words(figure, side);
        page.hang(
            "",
            "    ",
            &format!(
                "{address}: {} {}, down {}, up {}{stuck}",
                one.knob.place(),
                figure.nominal(figure.now),
                edge(down),
                edge(up)
            ),
        );
        if let Some((side, at)) = nearer(figure, down, up).and_then(|side| Some((side, side.edge?))) {
            let lost = lost_words(page, &side.lost);
            page.hang("    ", "      ", &format!("beyond {}: {lost}", step_words(one, figure, at)));
            if let Some(again) = again(page, &side.retest) {
                page.hang("    = ", "      ", &again);
            }
        }
    }
    let mut gains: Vec<(&Attribute, f64)> =
        attributes.iter().filter_map(|one| Some((one, gain(one)?))).collect();
    gains.sort_by(|(_, one), (_, two)| one.total_cmp(two));
    if gains.is_empty() {
        return;
    }
    page.heading("Most mass to be had without losing anything");
    for (one, kg) in gains.iter().take(page.frame.shown(gains.len(), TIGHT_SHOWN)) {
        let Way::Figure(figure, down, up) = &one.way else { continue };
        let side = [down, up].into_iter().flatten().find(|side| side.gain_kg == Some(*kg));
        let Some(edge) = side.and_then(|side| side.edge) else { continue };
        page.hang(
            "  - ",
            "    ",
            &format!(
                "{} kg: {} {} → {} ({}); behind {}",
                decimals(*kg, 3),
                one.knob.place(),
                figure.nominal(figure.now),
                figure.nominal(edge),
                step_words(one, figure, edge),
                names(&addresses(&one.of), page, PANELS_SHOWN),
            ),
        );
    }
}

/// How many figures behind a record stand on an edge, on one side or both.
fn on_edge(attributes: &[Attribute], address: &Address) -> usize {
    attributes.iter().filter(|one| one.of.contains(address) && one.tightness() == Some(0.0)).count()
}

fn addresses(all: &[Address]) -> Vec<String> {
    all.iter().map(ToString::to_string).collect()
}

fn edge_words(figure: &Figure, side: &Option<Side>) -> String {
    match side {
        Some(side) => match side.edge {
            Some(edge) if edge == figure.now => "not at all".to_string(),
            Some(edge) => format!("to {}", figure.nominal(edge)),
            None => format!("to {} without an edge", figure.nominal(side.bound)),
        },
        None => "not at all, the record takes no other".to_string(),
    }
}

/// What is lost of a figure that can't be moved, side by side, with what proves it again; the same on both sides is
/// said once.
fn stuck_words(page: &Page<'_>, down: &Option<Side>, up: &Option<Side>) -> Vec<(String, Option<String>)> {
    let said = |word: &str, side: &Side| {
        (format!("{word} {}", lost_words(page, &side.lost)), again(page, &side.retest))
    };
    if let (Some(low), Some(high)) = (down, up)
        && said("", low) == said("", high)
    {
        return vec![said("either way", low)];
    }
    let sides = [("downward", down), ("upward", up)];
    sides.into_iter().filter_map(|(word, side)| Some(said(word, side.as_ref()?))).collect()
}

fn nearer<'s>(figure: &Figure, down: &'s Option<Side>, up: &'s Option<Side>) -> Option<&'s Side> {
    let sides = [down, up].into_iter().flatten().filter(|side| side.edge.is_some());
    sides.min_by_key(|side| side.edge.map(|edge| (edge - figure.now).unsigned_abs()))
}

/// The step in the record's unit, and for a film of paint in what it weighs.
fn step_words(one: &Attribute, figure: &Figure, edge: i64) -> String {
    let own = step(figure, edge);
    match one.film_g_m2 {
        Some(film) => {
            let grams = figure.number(edge - figure.now).to_f64() * film;
            format!("{own}, {grams:+.1} g/m2 of paint")
        }
        None => own,
    }
}

/// Every attribute, record by record; those of which the same is said are said together, and figures that nothing
/// is asked of, words that may be any, and names of records in a line.
fn each(page: &mut Page<'_>, attributes: &[Attribute]) {
    let mut rest = attributes;
    while let Some(first) = rest.first() {
        let same = rest.iter().take_while(|one| one.knob.address == first.knob.address).count();
        let (own, after) = rest.split_at(same);
        rest = after;
        page.heading(&first.knob.address.to_string());
        let mut said: Vec<(Vec<String>, Vec<String>)> = Vec::new();
        let (mut free, mut loose, mut see) = (Vec::new(), Vec::new(), Vec::new());
        for one in own {
            let title = |what: &str| format!("{} {what}", one.knob.route);
            let (title, lines) = match &one.way {
                Way::Figure(figure, down, up) => {
                    let lines = figure_lines(page, one, figure, down, up);
                    if lines.is_empty() {
                        free.push(format!("{} ({})", title(&figure.text), looked(figure, down, up)));
                        continue;
                    }
                    (title(&figure.text), lines)
                }
                Way::Word(word, Some(other)) if !other.lost.is_clear() => {
                    let few = if other.tried == ANY_OTHER { "" } else { "at least " };
                    let lost = format!("any other: {few}{}", lost_words(page, &other.lost));
                    (title(word), std::iter::once(lost).chain(again(page, &other.retest)).collect())
                }
                Way::Word(word, Some(_)) => {
                    loose.push(title(word));
                    continue;
                }
                Way::Word(..) => continue,
                Way::Reference(to) => {
                    see.push(title(&to.to_string()));
                    continue;
                }
            };
            match said.iter_mut().find(|(_, known)| *known == lines) {
                Some((titles, _)) => titles.push(title),
                None => said.push((vec![title], lines)),
            }
        }
        for (titles, lines) in &said {
            page.hang("", "  ", &titles.join(", "));
            for line in lines {
                let first = if line.starts_with("to prove again") { "    = " } else { "    " };
                page.hang(first, "      ", line);
            }
        }
        let list = |page: &mut Page<'_>, first: &str, all: &[String]| {
            if !all.is_empty() {
                page.hang(first, "    ", &all.join(", "));
            }
        };
        list(page, "No rule asks, that is no permission: ", &free);
        list(page, "Any other word, no rule asks, that is no permission: ", &loose);
        list(page, "Another record counts by its values: ", &see);
    }
}

fn looked(figure: &Figure, down: &Option<Side>, up: &Option<Side>) -> String {
    let bound = |side: &Option<Side>| side.as_ref().map_or(figure.now, |side| side.bound);
    format!("{} .. {}", figure.nominal(bound(down)), figure.nominal(bound(up)))
}

/// What is said of the two sides of a figure; nothing where no rule asks on either.
fn figure_lines(
    page: &Page<'_>,
    one: &Attribute,
    figure: &Figure,
    down: &Option<Side>,
    up: &Option<Side>,
) -> Vec<String> {
    let mut all = Vec::new();
    if ![down, up].into_iter().flatten().any(|side| side.edge.is_some()) {
        return all;
    }
    if one.is_stuck() {
        for (at, (words, again)) in stuck_words(page, down, up).into_iter().enumerate() {
            all.push(if at == 0 { format!("can't be moved at all: {words}") } else { words });
            all.extend(again);
        }
        return all;
    }
    for (word, side) in [("down", down), ("up", up)] {
        let Some(side) = side else { continue };
        let Some(edge) = side.edge else {
            let end = match side.refused {
                Some(refused) => format!(", {} the record does not take", figure.nominal(refused)),
                None if side.is_end => ", and further it can't be judged".to_string(),
                None => String::new(),
            };
            let bound = figure.nominal(side.bound);
            all.push(format!("{word}: no rule asks as far as {bound}{end}: that is no permission"));
            continue;
        };
        let mut text = match edge == figure.now {
            true => format!("{word}: on the edge"),
            false => format!("{word} to {} ({})", figure.nominal(edge), step_words(one, figure, edge)),
        };
        if let Some(kg) = side.gain_kg.filter(|kg| kg.abs() >= 0.0005) {
            text.push_str(&format!(", {kg:+.3} kg"));
        }
        all.push(format!("{text}; beyond it {}", lost_words(page, &side.lost)));
        all.extend(again(page, &side.retest));
    }
    all
}

fn again(page: &Page<'_>, plan: &Option<RetestPlan>) -> Option<String> {
    let plan = plan.as_ref().filter(|plan| !plan.steps.is_empty())?;
    Some(format!(
        "to prove again: {} from {}, {:.1} weeks, {}",
        count(plan.specimens as usize, "specimen"),
        count(plan.panels as usize, "panel"),
        plan.weeks,
        money(plan.cost, &page.frame.currency)
    ))
}

/// What is lost, in a line.
fn lost_words(page: &Page<'_>, lost: &Found) -> String {
    let mut all = Vec::new();
    if !lost.lapses.is_empty() {
        let duties: Vec<String> = lost
            .lapses
            .iter()
            .map(|one| {
                let word = match one.now {
                    Verdict::Lapsed => format!("asks {}", one.asks),
                    other => other.word().to_string(),
                };
                let panels = match one.panels.as_slice() {
                    [] => String::new(),
                    panels => format!("; {}", names(panels, page, PANELS_SHOWN)),
                };
                format!("{} {} ({word}{panels})", one.showing, one.subject)
            })
            .collect();
        let verb = if duties.len() == 1 { "lapses" } else { "lapse" };
        all.push(format!("{} {verb}: {}", count(duties.len(), "duty"), names(&duties, page, DUTIES_SHOWN)));
    }
    if !lost.more.is_empty() {
        let duties: Vec<String> = lost.more.iter().map(|one| more_words(one, page)).collect();
        let verb = if duties.len() == 1 { "asks" } else { "ask" };
        let shown = names(&duties, page, DUTIES_SHOWN);
        all.push(format!("{} {verb} more: {shown}", count(duties.len(), "duty")));
    }
    for margin in &lost.margins {
        all.push(format!(
            "the margin of {} under {} turns negative, {} by {}",
            margin.panel,
            margin.case,
            signed(margin.margin),
            margin.mode
        ));
    }
    if !lost.budgets.is_empty() {
        all.push(format!("over budget: {}", lost.budgets.join(", ")));
    }
    if !lost.balance.is_empty() {
        all.push(format!("out of balance: {}", lost.balance.join(", ")));
    }
    all.join("; ")
}

/// A duty that was not met and asks more.
fn more_words(one: &More, page: &Page<'_>) -> String {
    let was = match one.was {
        Some(was) if was != one.now => format!("{}, was {was}", one.now),
        Some(_) => format!("{}, asks {} instead of {}", one.now, one.asks, one.was_asks.unwrap_or_default()),
        None => format!("new and {}", one.now),
    };
    let panels = match one.panels.as_slice() {
        [] => String::new(),
        panels => format!("; {}", names(panels, page, PANELS_SHOWN)),
    };
    format!("{} {} ({was}{panels})", one.showing, one.subject)
}
