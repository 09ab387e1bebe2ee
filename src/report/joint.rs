//! What changes do only together, as JSON and as text.

use super::page::Page;
use super::reason::{Block, reasons_json, write_blocks};
use crate::change::impact::Impact;
use crate::change::joint::{Joint, JointDuty};
use crate::qualify::verdict::Verdict;
use crate::record::sensitivity::Asks;
use serde_json::{Value, json};

/// Duties shown of each list; `Frame::all` shows them all.
const SHOWN: usize = 12;

/// Returns duties in the shape of `together_only`, sorted by showing and subject.
pub(crate) fn rows_json(rows: &[JointDuty]) -> Vec<Value> {
    let said = |one: &Option<(Verdict, Asks)>| match one {
        Some((verdict, asks)) => json!({ "verdict": verdict.word(), "asks": asks.to_string() }),
        None => Value::Null,
    };
    rows.iter()
        .map(|row| {
            json!({
                "showing": row.showing,
                "subject": row.subject.to_string(),
                "was": row.was.map(Verdict::word),
                "alone": row.alone.iter().map(said).collect::<Vec<_>>(),
                "together": said(&row.together),
                "because": reasons_json(&row.because),
                "panels": row.panels,
            })
        })
        .collect()
}

/// Adds to the document of the whole what is so only together, and what each change does alone.
pub fn add_to(mut document: Value, joint: &Joint, alone: &[&Impact]) -> Value {
    let one = |impact: &&Impact| {
        let worse = impact.duties.iter().filter(|row| row.is_worse());
        json!({
            "head": impact.head,
            "verdict": impact.verdict,
            "delta_kg": impact.mass.1 - impact.mass.0,
            "worse": worse.map(|row| json!({
                "showing": row.showing,
                "subject": row.subject.to_string(),
                "now": row.now.word(),
                "asks": row.asks.to_string(),
            })).collect::<Vec<_>>(),
            "retest": {
                "specimens": impact.retest.specimens,
                "panels": impact.retest.panels,
                "weeks": impact.retest.weeks,
                "cost": impact.retest.cost,
                "missing": impact.retest.missing,
            },
        })
    };
    if let Some(map) = document.as_object_mut() {
        map.insert("together_only".to_string(), json!(rows_json(&joint.only_together)));
        map.insert("graver_together".to_string(), json!(rows_json(&joint.graver_together)));
        map.insert("restored_together".to_string(), json!(rows_json(&joint.restored_together)));
        map.insert("alone".to_string(), json!(alone.iter().map(one).collect::<Vec<_>>()));
    }
    document
}

/// Writes the duties that are otherwise together than alone.
pub(crate) fn write(page: &mut Page<'_>, joint: &Joint, names: &[String]) {
    let lists = [
        ("Only together", &joint.only_together),
        ("Asking more together", &joint.graver_together),
        ("Un-proved by one alone, and not together", &joint.restored_together),
    ];
    for (title, rows) in lists.into_iter().filter(|(_, rows)| !rows.is_empty()) {
        page.heading(&format!("{title} ({})", rows.len()));
        let blocks: Vec<Block<'_>> = rows.iter().map(|row| block(row, names)).collect();
        write_blocks(page, &blocks, SHOWN, "duty");
    }
}

fn block<'a>(row: &'a JointDuty, names: &[String]) -> Block<'a> {
    let words = |(verdict, asks): &(Verdict, Asks)| match asks {
        Asks::None => verdict.to_string(),
        asks => format!("{verdict}, asks {asks}"),
    };
    let before = row.was.map_or_else(|| "not asked before".to_string(), |was| format!("was {was}"));
    let mut facts = vec![before];
    match &row.together {
        Some((_, asks)) if *asks > Asks::None => facts.push(format!("asks {asks}")),
        Some(_) => {}
        None => facts.push("together as before".to_string()),
    }
    for (name, alone) in names.iter().zip(&row.alone) {
        facts.push(match alone {
            Some(alone) => format!("{name} alone: {}", words(alone)),
            None => format!("{name} alone: as before"),
        });
    }
    Block {
        // Where nothing moves together it stands as it stood.
        verdict: row.together.map_or_else(|| row.was.unwrap_or(Verdict::Met), |(verdict, _)| verdict),
        showing: &row.showing,
        subject: row.subject.to_string(),
        facts,
        panels: &row.panels,
        because: if row.together.is_some() { &row.because } else { &[] },
        own: &[],
        closes: Vec::new(),
    }
}
