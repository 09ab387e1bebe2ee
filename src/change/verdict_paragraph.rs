//! The verdict of an impact: one plain paragraph that can be read aloud.

use super::impact::{DutyRow, Impact};
use super::margins::MarginMove;
use super::weaker::Weaker;
use crate::ledger::Ledger;
use crate::qualify::margins::signed;
use crate::qualify::verdict::Verdict;

/// Writes the paragraph.
pub fn paragraph(impact: &Impact, head: &Ledger) -> String {
    if impact.changes.is_empty() && impact.duties.is_empty() {
        return format!(
            "Nothing differs between {} and {}: no mass moves and no duty changes.",
            named(&impact.base),
            named(&impact.head)
        );
    }
    let mut parts = Vec::new();
    let edits = impact.changes.len();
    if impact.is_first {
        parts.push(format!("Nothing was there before {}: {}.", named(&impact.head), count(edits, "record")));
        parts.push(format!("The mass is {:.3} kg.", impact.mass.1));
    } else {
        parts.push(format!(
            "From {} to {}: {}.",
            named(&impact.base),
            named(&impact.head),
            count(edits, "edit")
        ));
        parts.extend(altered(impact, head));
        parts.extend(weakened(impact));
        parts.push(mass(impact));
    }
    for one in &impact.over {
        let by = format!("{:.3} kg", one.over_kg);
        parts.push(match one.was_over_kg > 0.0 {
            true => format!(
                "The {} goes further over its budget, by {by} where it was {:.3} kg.",
                one.of, one.was_over_kg
            ),
            false => format!("The {} goes over its budget by {by}.", one.of),
        });
    }
    for one in impact.balance.iter().filter(|one| one.goes_over()) {
        parts.push(format!("The balance of {} goes over its limit.", one.panel));
    }
    parts.extend(margins(impact));
    parts.extend(lost_margins(impact));
    parts.push(if impact.is_first { all_duties(impact) } else { duties(impact) });
    if let Some(retest) = retest(impact, head) {
        parts.push(retest);
    }
    match impact.grounded.as_slice() {
        [] => {}
        panels if impact.is_first => {
            let (noun, verb) = if panels.len() == 1 { ("panel", "is") } else { ("panels", "are") };
            parts.push(format!("The released {noun} {} {verb} not covered.", panels.join(", ")));
        }
        [panel] => parts.push(format!("The released panel {panel} would no longer be covered.")),
        panels => {
            parts.push(format!("The released panels {} would no longer be covered.", panels.join(", ")))
        }
    }
    parts.join(" ")
}

/// The work tree and the index are spoken of with their article; revisions are names.
fn named(side: &str) -> String {
    if side.starts_with("work tree") || side.starts_with("index") {
        format!("the {side}")
    } else {
        side.to_string()
    }
}

fn count(n: usize, word: &str) -> String {
    let plural = match (n, word.strip_suffix('y')) {
        (1, _) => word.to_string(),
        (_, Some(stem)) => format!("{stem}ies"),
        (_, None) => format!("{word}s"),
    };
    format!("{n} {plural}")
}

fn mass(impact: &Impact) -> String {
    let delta = impact.mass.1 - impact.mass.0;
    if delta.abs() < 5e-4 {
        return format!("The mass stays at {:.3} kg.", impact.mass.1);
    }
    let verb = if delta > 0.0 { "grows" } else { "falls" };
    format!("The mass {verb} by {:.3} kg, from {:.3} to {:.3} kg.", delta.abs(), impact.mass.0, impact.mass.1)
}

fn duties(impact: &Impact) -> String {
    let mut said = Vec::new();
    let mut say = |n: usize, words: &dyn Fn(usize) -> String| {
        if n > 0 {
            said.push(words(n));
        }
    };
    let verb = |n: usize, one: &str, many: &str| if n == 1 { one.to_string() } else { many.to_string() };
    let with = |verdict: Verdict| {
        impact
            .duties
            .iter()
            .filter(move |row| row.now == verdict && row.was != Some(verdict) && row.is_worse())
    };
    let lapsed = with(Verdict::Lapsed).count();
    say(lapsed, &|n| format!("{} {}", count(n, "duty"), verb(n, "lapses", "lapse")));
    say(with(Verdict::Failed).count(), &|n| format!("{} {}", count(n, "duty"), verb(n, "fails", "fail")));
    say(with(Verdict::Open).count(), &|n| format!("{} {} open", count(n, "duty"), verb(n, "is", "are")));
    say(with(Verdict::Short).count(), &|n| format!("{} {} short", count(n, "duty"), verb(n, "is", "are")));
    let more = impact.duties.iter().filter(|row| row.was == Some(row.now) && row.is_worse()).count();
    say(more, &|n| format!("{} {} more than before", count(n, "duty"), verb(n, "asks", "ask")));
    let nearer = impact.duties.iter().filter(|row| row.is_nearer()).count();
    say(nearer, &|n| {
        format!(
            "{} {} not met but {} no more than before",
            count(n, "duty"),
            verb(n, "is", "are"),
            verb(n, "asks", "ask")
        )
    });
    let closed = |now: Verdict, fits: &dyn Fn(&DutyRow) -> bool| {
        impact.duties.iter().filter(|row| row.now == now && fits(row)).count()
    };
    let is_back = |row: &DutyRow| row.is_restored() && !row.is_met_now();
    let is_new = |row: &DutyRow| row.was.is_none();
    for (n, words) in [
        (closed(Verdict::Met, &is_back), "met again"),
        (closed(Verdict::Met, &DutyRow::is_met_now), "met now"),
        (closed(Verdict::Conceded, &|row| row.is_restored()), "conceded now"),
        (closed(Verdict::Met, &is_new), "new and met"),
        (closed(Verdict::Conceded, &is_new), "new and conceded"),
    ] {
        say(n, &|n| format!("{} {} {words}", count(n, "duty"), verb(n, "is", "are")));
    }
    let ended = impact.ended.len().saturating_sub(impact.renewed.len());
    say(ended, &|n| format!("{} {}", count(n, "duty"), verb(n, "ends", "end")));
    say(impact.panel_rows.len(), &|n| {
        format!("{} of single panels {} beside", count(n, "verdict"), verb(n, "moves", "move"))
    });
    match said.split_last() {
        None => "No duty changes.".to_string(),
        Some((last, [])) => format!("{}.", capital(last)),
        Some((last, rest)) => format!("{} and {last}.", capital(&rest.join(", "))),
    }
}

/// Data that are no longer what was conformed, by a change that is looked at here.
fn altered(impact: &Impact, head: &Ledger) -> Option<String> {
    let of = |address: &str| {
        let id = address.strip_prefix("evidence/")?.strip_suffix("#data")?;
        head.evidence.get(id).filter(|entry| head.is_altered(entry)).map(|entry| entry.id.as_str())
    };
    let all: Vec<&str> = impact.changes.iter().filter_map(|change| of(&change.address)).collect();
    let first = all.first()?;
    let more = match all.len() {
        1 => String::new(),
        n => format!(" and of {} more", count(n - 1, "record")),
    };
    Some(format!(
        "The data of evidence/{first}{more} are no longer the bytes that were conformed, which the gate refuses."
    ))
}

/// What asks less than before: what looks better after it is no better.
fn weakened(impact: &Impact) -> Option<String> {
    let sure = impact.weaker.iter().filter(|own| own.certain);
    let all: Vec<&Weaker> = sure.chain(impact.weaker.iter().filter(|own| !own.certain)).collect();
    let first = all.first()?;
    let more = match all.len() {
        1 => String::new(),
        n => format!("; and {} more", count(n - 1, "requirement")),
    };
    let what = if first.certain { "A requirement is weakened" } else { "A requirement changes" };
    Some(format!("{what}, which makes nothing better by itself: {}{more}.", first.words()))
}

/// Margins that turn negative, and of those that fall the one that is nearest to nothing then: a large margin may fall
/// far and matter to nobody.
fn margins(impact: &Impact) -> Option<String> {
    let is = |row: &MarginMove| row.now.as_ref().map(|margin| margin.margin);
    let was = |row: &MarginMove| row.was.as_ref().map(|margin| margin.margin);
    let mut gone: Vec<&MarginMove> = impact
        .margins
        .iter()
        .filter(|row| is(row).is_some_and(|is| is < 0.0) && was(row).is_none_or(|was| was >= 0.0))
        .collect();
    gone.sort_by(|one, two| is(one).partial_cmp(&is(two)).unwrap_or(std::cmp::Ordering::Equal));
    if let Some(worst) = gone.first() {
        let now = worst.now.as_ref()?;
        let more = match gone.len() {
            1 => String::new(),
            n => format!(" (and {} more)", count(n - 1, "margin")),
        };
        return Some(format!(
            "The margin of {} under {} turns negative, {} by {}{more}.",
            worst.panel,
            worst.case,
            signed(now.margin),
            now.mode
        ));
    }
    let fallen = impact.margins.iter().filter_map(|row| Some((row, was(row)?, is(row)?)));
    let (row, ..) = fallen
        .filter(|(_, was, is)| was - is > 5e-3 && signed(*was) != signed(*is))
        .min_by(|one, two| one.2.total_cmp(&two.2).then_with(|| two.1.total_cmp(&one.1)))?;
    Some(format!(
        "The margin of {} under {} falls from {} to {}.",
        row.panel,
        row.case,
        signed(was(row)?),
        signed(is(row)?)
    ))
}

/// Margins of which something could be computed before and no longer can: the fall of what is left says
/// nothing of it.
fn lost_margins(impact: &Impact) -> Option<String> {
    let mut lost = impact.margins.iter().filter(|row| row.lost);
    let row = lost.next()?;
    let (whole, why) = (row.now.is_none(), row.lacking.as_deref().unwrap_or_default());
    let more = match lost.count() {
        0 => String::new(),
        n => format!(" (and {} more)", count(n, "load case")),
    };
    let how = if whole { "can no longer be computed" } else { "can no longer be computed in full" };
    Some(format!(
        "The margin of {} under {} {how}{more}: {}.",
        row.panel,
        row.case,
        why.trim_end_matches('.')
    ))
}

/// How the duties stand where there were none before.
fn all_duties(impact: &Impact) -> String {
    let said: Vec<String> =
        [Verdict::Met, Verdict::Conceded, Verdict::Failed, Verdict::Lapsed, Verdict::Short, Verdict::Open]
            .into_iter()
            .map(|verdict| (verdict, impact.duties.iter().filter(|row| row.now == verdict).count()))
            .filter(|(_, n)| *n > 0)
            .map(|(verdict, n)| format!("{n} {verdict}"))
            .collect();
    match said.as_slice() {
        [] => "No duty is asked.".to_string(),
        said => format!("{}: {}.", capital(&count(impact.duties.len(), "duty")), said.join(", ")),
    }
}

fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + chars.as_str())
}

fn retest(impact: &Impact, head: &Ledger) -> Option<String> {
    let plan = &impact.retest;
    if plan.steps.is_empty() {
        return None;
    }
    let specimens = usize::try_from(plan.specimens).unwrap_or(usize::MAX);
    let panels = usize::try_from(plan.panels).unwrap_or(usize::MAX);
    let work = if specimens == 0 {
        "only desk work".to_string()
    } else {
        format!("{} from {}", count(specimens, "specimen"), count(panels, "test panel"))
    };
    let currency =
        head.head.as_ref().and_then(|head| head.currency.as_ref()).map_or("", |text| text.as_str());
    let cost = match plan.cost {
        Some(cost) => format!("about {} {currency}", thousands(cost)),
        None => format!("a cost that cannot be said ({} not given)", plan.missing.join(", ")),
    };
    let doing = if impact.is_first { "Proving what is not met" } else { "Proving them again" };
    Some(format!("{doing} takes {work}, {:.1} weeks and {}.", plan.weeks, cost.trim()))
}

/// Writes a sum in whole units with a blank between thousands.
pub fn thousands(value: f64) -> String {
    let digits = format!("{:.0}", value.abs());
    let mut text = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    if value < 0.0 { format!("-{text}") } else { text }
}
