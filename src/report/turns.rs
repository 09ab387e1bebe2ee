//! The commits in which evidence stopped to prove something, or a panel grew heavier.

use super::decision::signed;
use super::history::{Made, changes_json};
use super::page::{Frame, Page, count, shown};
use super::reason::reason_words;
use crate::change::diff::Change;
use crate::qualify::duty::{DutyKey, Judged, Verdict};
use crate::record::sensitivity::Asks;
use serde_json::{Value, json};

const NOTE: &str = "Found by halving, every state judged as of today: what was taken back between two commits that are the same in this is not seen.";

/// A commit since which evidence no longer proves something.
#[derive(Debug, Clone, PartialEq)]
pub struct Lapse {
    /// The commit.
    pub made: Made,
    /// What it no longer proves since.
    pub lost: Vec<Lost>,
}

/// A commit that made a panel heavier.
#[derive(Debug, Clone, PartialEq)]
pub struct Growth {
    /// The commit.
    pub made: Made,
    /// The panel's mass before, kg.
    pub was_kg: f64,
    /// After, kg.
    pub kg: f64,
    /// What the commit changed of what the panel is made from.
    pub changes: Vec<Change>,
}

/// A duty that evidence proved for a panel and no longer proves.
#[derive(Debug, Clone, PartialEq)]
pub struct Lost {
    /// The duty.
    pub duty: DutyKey,
    /// The panel; empty for the programme.
    pub panel: String,
    /// The verdict since; `None` where it is no longer asked.
    pub verdict: Option<Verdict>,
    /// What it asks.
    pub asks: Option<Asks>,
    /// Why.
    pub because: Option<String>,
}

impl Lost {
    /// Returns the loss of a duty that is judged so since.
    pub fn of(duty: DutyKey, panel: String, now: Option<&Judged>) -> Self {
        Self {
            duty,
            panel,
            verdict: now.map(|now| now.verdict),
            asks: now.map(|now| now.asks),
            because: now.and_then(|now| now.because.first()).map(reason_words),
        }
    }
}

/// Returns what evidence lost as a document of schema `history-lapsed/1`, the newest commit first; `verdict` is null
/// where the duty is no longer asked. Beside what it proves stands how many duties are conceded that lean on it.
pub fn lapsed_json(evidence: &str, (proves, conceded): (usize, usize), turns: &[Lapse]) -> Value {
    let one = |turn: &Lapse| {
        let lost: Vec<Value> = turn
            .lost
            .iter()
            .map(|lost| {
                json!({
                    "showing": lost.duty.0,
                    "subject": lost.duty.1.to_string(),
                    "panel": lost.panel,
                    "verdict": lost.verdict.map(Verdict::word),
                    "asks": lost.asks.map(|asks| asks.to_string()),
                    "because": lost.because,
                })
            })
            .collect();
        turn.made.json([("lost", json!(lost))])
    };
    json!({
        "schema": "history-lapsed/1",
        "evidence": evidence,
        "proves": proves,
        "conceded": conceded,
        "commits": turns.iter().map(one).collect::<Vec<_>>(),
    })
}

/// Returns it for people.
///
/// `proves` counts what it proves itself, `conceded` what is conceded that leans on it, and the list what does prove that
/// extends it, by id.
pub fn lapsed_text(
    evidence: &str,
    (proves, conceded, through): (usize, usize, &[(String, usize)]),
    turns: &[Lapse],
    frame: &Frame,
) -> String {
    let mut page = Page::new(frame);
    page.heading(evidence);
    page.paragraph(&match proves {
        0 if through.is_empty() => "It proves nothing as the ledger stands.".to_string(),
        0 => "It proves nothing by itself as the ledger stands.".to_string(),
        n => format!("It proves {} as the ledger stands, each counted for each panel.", count(n, "duty")),
    });
    if conceded > 0 {
        let duties = count(conceded, "duty");
        page.paragraph(&format!(
            "{duties} conceded, leaning on it with what is accepted; each counted for each panel."
        ));
    }
    if !through.is_empty() {
        let each: Vec<String> =
            through.iter().map(|(id, n)| format!("evidence/{id} proves {}", count(*n, "duty"))).collect();
        page.paragraph(&format!(
            "It is the baseline of evidence that counts, so that its values stay in force: {}, each counted for each panel.",
            each.join(", ")
        ));
    }
    if turns.is_empty() {
        page.paragraph("No commit is found since which it proves less.");
    }
    for turn in turns {
        turn.made.head(&mut page);
        let most = frame.shown(turn.lost.len(), 12);
        for lost in turn.lost.iter().take(most) {
            let since = match (lost.verdict, lost.asks) {
                (None, _) => "no longer asked".to_string(),
                (Some(Verdict::Met), _) => "met by other evidence".to_string(),
                (Some(verdict), Some(asks)) if asks > Asks::None => format!("{verdict}, asks {asks}"),
                (Some(verdict), _) => verdict.to_string(),
            };
            let panel = if lost.panel.is_empty() { String::new() } else { format!(" for {}", lost.panel) };
            let why = lost.because.as_ref().map_or_else(String::new, |why| format!(": {}", shown(why)));
            page.paragraph(&format!("- {} on {}{panel}: {since}{why}", lost.duty.0, lost.duty.1));
        }
        if turn.lost.len() > most {
            page.paragraph(&format!("and {} more; --all shows them", turn.lost.len() - most));
        }
    }
    page.gap();
    page.paragraph(NOTE);
    page.finish()
}

/// Returns where a panel grew as a document of schema `history-grew/1`, the newest commit first.
pub fn grew_json(panel: &str, kg: Option<f64>, turns: &[Growth]) -> Value {
    let one = |turn: &Growth| {
        turn.made.json([
            ("was_kg", json!(turn.was_kg)),
            ("kg", json!(turn.kg)),
            ("delta_kg", json!(turn.kg - turn.was_kg)),
            ("changes", changes_json(&turn.changes)),
        ])
    };
    json!({
        "schema": "history-grew/1",
        "panel": panel,
        "kg": kg,
        "commits": turns.iter().map(one).collect::<Vec<_>>(),
    })
}

/// Returns it for people.
pub fn grew_text(panel: &str, kg: Option<f64>, turns: &[Growth], frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.heading(panel);
    page.paragraph(&kg.map_or_else(
        || "Its mass can't be worked out as the ledger stands.".to_string(),
        |kg| format!("{kg:.3} kg as the ledger stands."),
    ));
    if turns.is_empty() {
        page.paragraph("No commit is found that made it heavier.");
    }
    for turn in turns {
        turn.made.head(&mut page);
        let (was, is) = (turn.was_kg, turn.kg);
        page.paragraph(&format!("{} kg: {was:.3} -> {is:.3} kg", signed(is - was)));
        let most = frame.shown(turn.changes.len(), 12);
        for change in turn.changes.iter().take(most) {
            let of = |value: &Option<String>| value.as_deref().map_or_else(|| "nothing".to_string(), shown);
            page.paragraph(&format!(
                "- {}: {} -> {}",
                shown(&change.address),
                of(&change.was),
                of(&change.is)
            ));
        }
        if turn.changes.len() > most {
            page.paragraph(&format!(
                "and {} more; --all shows them",
                count(turn.changes.len() - most, "change")
            ));
        }
    }
    page.gap();
    page.paragraph(NOTE);
    page.finish()
}
