//! What must stay for evidence to go on counting, as JSON and as text.

use super::head::CAUTION_LINE;
use super::page::{Frame, Page, count};
use super::reason::names;
use crate::qualify::keep::{InUse, Keep, Kept, Stays};
use crate::quantity::Decimal;
use serde_json::{Value, json};

const PANELS_SHOWN: usize = 6;

/// Returns what must stay as a document of schema `leeway/1`, under `keep`.
pub fn json(keep: &Keep) -> Value {
    json!({
        "schema": "leeway/1",
        "keep": keep.evidence,
        "showing": keep.showing,
        "baseline": keep.baseline,
        "through": keep.through,
        "counts_for": keep.counts.iter().map(|(subject, panels)| json!({
            "subject": subject.to_string(),
            "panels": panels,
        })).collect::<Vec<_>>(),
        "attributes": keep.attributes.iter().map(kept_json).collect::<Vec<_>>(),
        "caution": CAUTION_LINE,
    })
}

fn kept_json(one: &Kept) -> Value {
    let (kind, low, high, set) = match &one.stays {
        Stays::Any => ("any", None, None, None),
        Stays::Equal => ("equal", None, None, None),
        Stays::Between(low, high, unit) => {
            let text = |value: &Option<Decimal>| value.as_ref().map(|value| figure(value, unit));
            ("range", text(low), text(high), None)
        }
        Stays::Set(all) => ("set", None, None, Some(all)),
        Stays::Window(_) => ("window", None, None, None),
    };
    json!({
        "attribute": one.attribute,
        "was": one.was,
        "stays": kind,
        "from": low,
        "to": high,
        "set": set,
        "window": match &one.stays { Stays::Window(words) => Some(words), _ => None },
        "rule": one.rule,
        "source": one.source,
        "in_use": one.now.iter().map(|own| json!({
            "value": own.value,
            "subject": own.subject.to_string(),
            "panels": own.panels,
            "used_share": own.used.filter(|share| share.is_finite()),
        })).collect::<Vec<_>>(),
    })
}

fn figure(value: &Decimal, unit: &str) -> String {
    format!("{} {unit}", value.six_digits()).trim_end().to_string()
}

/// Returns what must stay as text: ranges and sets first, then what has to be as it was, then what is not asked.
pub fn text(keep: &Keep, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.paragraph(&opening(keep));
    page.gap();
    page.paragraph(
        "Each attribute is said by itself, from the rules that ask nothing while it stays so; several that move at \
         once are judged together. A limit that widens asks an analysis where a rule asks anything at all.",
    );
    let of = |wanted: fn(&Stays) -> bool| keep.attributes.iter().filter(move |one| wanted(&one.stays));
    let ranges: Vec<&Kept> = of(|stays| matches!(stays, Stays::Between(..) | Stays::Set(_))).collect();
    if !ranges.is_empty() {
        page.heading(&format!("May move within ({})", ranges.len()));
        for one in ranges {
            page.hang("", "    ", &format!("{}: {}, made with {}", one.attribute, room(&one.stays), one.was));
            page.hang("    ", "      ", &rule(one));
            in_use(&mut page, &one.now);
        }
    }
    let windows: Vec<&Kept> = of(|stays| matches!(stays, Stays::Window(_))).collect();
    by_rule(&mut page, "May move together within a window", &windows);
    let equal: Vec<&Kept> = of(|stays| *stays == Stays::Equal).collect();
    by_rule(&mut page, "Has to stay as it was made", &equal);
    let any: Vec<String> = of(|stays| *stays == Stays::Any).map(|one| one.attribute.clone()).collect();
    if !any.is_empty() {
        page.heading(&format!("No rule asks, that is no permission ({})", any.len()));
        page.paragraph(&any.join(", "));
    }
    page.finish_with_caution()
}

/// Attributes under the rule that they share.
fn by_rule(page: &mut Page<'_>, heading: &str, all: &[&Kept]) {
    if all.is_empty() {
        return;
    }
    page.heading(&format!("{heading} ({})", all.len()));
    let mut groups: Vec<(String, Vec<&Kept>)> = Vec::new();
    for one in all {
        let rule = match &one.stays {
            Stays::Window(words) => format!("{words}; {}", rule(one)),
            _ => rule(one),
        };
        match groups.iter_mut().find(|(known, _)| *known == rule) {
            Some((_, group)) => group.push(one),
            None => groups.push((rule, vec![one])),
        }
    }
    for (rule, group) in groups {
        let named: Vec<String> = group.iter().map(|one| format!("{} {}", one.attribute, one.was)).collect();
        page.hang("", "    ", &named.join("; "));
        page.hang("    ", "      ", &rule);
        for one in group {
            in_use(page, &one.now);
        }
    }
}

fn opening(keep: &Keep) -> String {
    let counts = match keep.counts.as_slice() {
        [] => "counts for no duty as the ledger stands".to_string(),
        all => {
            let one = |(subject, panels): &(crate::article::Subject, Vec<String>)| {
                let panels: Vec<&str> =
                    panels.iter().map(String::as_str).filter(|panel| !panel.is_empty()).collect();
                if panels.is_empty() {
                    subject.to_string()
                } else {
                    format!("{subject} ({})", panels.join(", "))
                }
            };
            let by = match keep.through.as_slice() {
                [] => String::new(),
                by => format!(", through its extension {}", by.join(", ")),
            };
            format!("counts{by} for {}", all.iter().map(one).collect::<Vec<_>>().join("; "))
        }
    };
    let used = keep.attributes.iter().filter(|one| !one.now.is_empty()).count();
    let base = keep.baseline.as_ref().map_or_else(String::new, |base| {
        format!(
            " It extends evidence/{base}: the outer edge of what it may be is measured from there (`bondline leeway \
             --keep {base}`)."
        )
    });
    format!(
        "evidence/{} for showing/{} {counts}. {} in use {} from what was made.{base}",
        keep.evidence,
        keep.showing,
        count(used, "attribute"),
        if used == 1 { "differs" } else { "differ" },
    )
}

fn room(stays: &Stays) -> String {
    match stays {
        Stays::Between(Some(low), Some(high), unit) => {
            format!("{} .. {}", figure(low, unit), figure(high, unit))
        }
        Stays::Between(Some(low), None, unit) => format!("at least {}", figure(low, unit)),
        Stays::Between(None, Some(high), unit) => format!("at most {}", figure(high, unit)),
        Stays::Between(None, None, _) | Stays::Any => "anything".to_string(),
        Stays::Set(all) => format!("nothing but {}, or what that covers", all.join(", ")),
        Stays::Window(words) => words.clone(),
        Stays::Equal => "as made".to_string(),
    }
}

fn rule(one: &Kept) -> String {
    match one.source.as_str() {
        "" => format!("rule: {}", one.rule),
        source => format!("rule: {}; source: {source}", one.rule),
    }
}

fn in_use(page: &mut Page<'_>, all: &[InUse]) {
    for one in all {
        let used = match one.used {
            Some(share) if !share.is_finite() => ", beyond the edge".to_string(),
            Some(share) if share > 1.0 => format!(", {:.0} % of the way: beyond the edge", share * 100.0),
            Some(share) => format!(", {:.0} % of the way to the edge used up", share * 100.0),
            None => String::new(),
        };
        let panels = match one.panels.iter().all(String::is_empty) {
            true => String::new(),
            false => format!(" on {}", names(&one.panels, page, PANELS_SHOWN)),
        };
        page.hang("    now: ", "      ", &format!("{}{used} ({}{panels})", one.value, one.subject));
    }
}
