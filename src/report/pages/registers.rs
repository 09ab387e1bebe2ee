//! Tables over the whole ledger: clauses, days, assumptions.

use super::Site;
use crate::qualify::assumed;
use crate::qualify::gaps::{GapsOptions, live_concessions, trials_of};
use crate::qualify::verdict::Verdict;
use crate::report::page::count;
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

type Context = (&'static str, String, Map<String, Value>);

/// Rows of one table on a page; what is beyond is counted and left to the command.
const ROWS: usize = 800;

fn made(template: &'static str, title: &str, value: Value) -> Context {
    let map = match value {
        Value::Object(map) => map,
        _ => Map::new(),
    };
    (template, title.to_string(), map)
}

/// The compliance list: clause by clause what answers it, by which means, and how far that is.
pub(super) fn clauses(site: &Site<'_>) -> Context {
    let inputs = &site.inputs;
    let mut counts: BTreeMap<&str, BTreeMap<&str, usize>> = BTreeMap::new();
    let mut reports: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for ((showing, _), duty) in &inputs.evaluation.duties {
        *counts.entry(showing).or_default().entry(duty.verdict().word()).or_default() += 1;
        let behind = duty.panels.values().flat_map(|judged| &judged.evidence);
        let named =
            behind.filter_map(|id| Some(inputs.ledger.evidence.get(id)?.value.report.as_ref()?.to_string()));
        reports.entry(showing).or_default().extend(named);
    }
    let mut rows: Vec<(String, Value)> = Vec::new();
    for (id, entry) in &inputs.ledger.showings {
        let own = &entry.value;
        let counted = counts.get(id.as_str());
        let verdicts: Vec<Value> = Verdict::ALL
            .iter()
            .filter_map(|verdict| {
                let n = counted.and_then(|own| own.get(verdict.word())).copied().filter(|n| *n > 0)?;
                Some(json!({ "word": verdict.word(), "n": n }))
            })
            .collect();
        let row = |clause: &str| {
            json!({
                "clause": clause,
                "showing": id,
                "title": own.title,
                "kind": own.kind.to_string(),
                "means": own.means.iter().map(ToString::to_string).collect::<Vec<_>>(),
                "method": own.method.as_ref().map(ToString::to_string),
                "needed_by": own.needed_by.as_ref().map(ToString::to_string),
                "verdicts": verdicts,
                "words": verdicts.iter().filter_map(|one| one.get("word")?.as_str()).collect::<Vec<_>>().join(" "),
                "reports": reports.get(id.as_str()),
            })
        };
        let clauses: Vec<String> = own.clause.iter().map(ToString::to_string).collect();
        if clauses.is_empty() {
            rows.push((String::new(), row("")));
        }
        rows.extend(clauses.iter().map(|clause| (clause.clone(), row(clause))));
    }
    rows.sort_by(|one, two| (one.0.is_empty(), &one.0).cmp(&(two.0.is_empty(), &two.0)));
    let named: BTreeSet<&String> =
        rows.iter().map(|(clause, _)| clause).filter(|clause| !clause.is_empty()).collect();
    let opening = format!(
        "{} answered by {}.",
        count(named.len(), "clause"),
        count(inputs.ledger.showings.len(), "showing")
    );
    let left = rows.len().saturating_sub(ROWS);
    let rows: Vec<Value> = rows.into_iter().take(ROWS).map(|(_, row)| row).collect();
    made(
        "clauses.html",
        "Clause by clause",
        json!({ "opening": opening, "rows": rows, "left": left, "words": Verdict::ALL.map(Verdict::word) }),
    )
}

/// What is due and what ends, by day.
pub(super) fn calendar(site: &Site<'_>) -> Context {
    let inputs = &site.inputs;
    let mut rows: Vec<(String, Value)> = Vec::new();
    let mut undated = Vec::new();
    for trial in trials_of(inputs.ledger, inputs.evaluation, &GapsOptions::default(), inputs.today) {
        for due in &trial.due {
            let what: Vec<String> = due.missing.iter().map(|(property, _)| property.clone()).collect();
            let row = |state: &str| {
                json!({
                    "on": due.on.map(|day| day.to_string()),
                    "what": format!("reading after {}: {}", due.exposure, what.join(", ")),
                    "kind": "evidence",
                    "id": trial.evidence,
                    "state": state,
                })
            };
            match due.on {
                Some(on) => rows.push((on.to_string(), row(if due.overdue { "overdue" } else { "due" }))),
                None => undated.push(row("no day")),
            }
        }
    }
    let live: BTreeSet<&str> = live_concessions(inputs.ledger, inputs.today).into_iter().collect();
    for (id, entry) in &inputs.ledger.concessions {
        let until = entry.value.until;
        let state = if live.contains(id.as_str()) { "live" } else { "no longer live" };
        rows.push((
            until.to_string(),
            json!({
                "on": until.to_string(),
                "what": format!("concession {id} ends"),
                "kind": "showing",
                "id": entry.value.showing.id(),
                "state": state,
            }),
        ));
    }
    rows.sort_by(|one, two| one.0.cmp(&two.0));
    let overdue =
        rows.iter().filter(|(_, row)| row.get("state").and_then(Value::as_str) == Some("overdue")).count();
    let today = inputs.today.to_string();
    let opening = match (rows.is_empty(), overdue) {
        (true, _) => "Nothing is due, and no concession ends.".to_string(),
        (false, 0) => format!("Nothing is overdue on {today}."),
        (false, n) => format!(
            "{} on {today}.",
            count(n, "overdue reading")
                .replace("overdue readings", "readings are overdue")
                .replace("overdue reading", "reading is overdue")
        ),
    };
    let left = rows.len().saturating_sub(ROWS);
    let rows: Vec<Value> = rows.into_iter().take(ROWS).map(|(_, row)| row).collect();
    undated.truncate(ROWS);
    made(
        "calendar.html",
        "Readings and expiries",
        json!({ "opening": opening, "rows": rows, "undated": undated, "left": left }),
    )
}

/// Figures that stand on no evidence, with what stands on them.
pub(super) fn assumptions(site: &Site<'_>) -> Context {
    let inputs = &site.inputs;
    let (rows, problem) = match assumed::assumptions(inputs.ledger, inputs.evaluation) {
        Ok(found) => (found, None),
        Err(missing) => (Vec::new(), Some(missing.to_string())),
    };
    let mut rows: Vec<&assumed::Assumption> = rows.iter().collect();
    rows.sort_by(|one, two| {
        two.mass_kg
            .total_cmp(&one.mass_kg)
            .then_with(|| two.duties.len().cmp(&one.duties.len()))
            .then_with(|| one.address.cmp(&two.address))
    });
    let opening = match (problem, rows.len()) {
        (Some(problem), _) => format!("They can't be listed: {problem}."),
        (None, 0) => "Every figure in use stands on evidence or on a source of its own.".to_string(),
        (None, n) => format!(
            "{n} figures and conditions are used without evidence, those that most mass stands on first."
        ),
    };
    let left = rows.len().saturating_sub(ROWS);
    let shown: Vec<Value> = rows
        .iter()
        .take(ROWS)
        .map(|one| {
            json!({
                "kind": one.kind.word(),
                "address": one.address,
                "what": one.what,
                "mass_kg": one.mass_kg,
                "duties": one.duties.len(),
                "panels": one.panels,
            })
        })
        .collect();
    let kinds: BTreeSet<&str> = rows.iter().map(|one| one.kind.word()).collect();
    made(
        "assumptions.html",
        "Assumptions",
        json!({ "opening": opening, "rows": shown, "left": left, "kinds": kinds }),
    )
}
