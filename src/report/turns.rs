//! The commits in which evidence stopped to prove something, or a panel grew heavier.

use super::decision::signed;
use super::page::{Frame, count, shown};
use super::reason::reason_words;
use super::table::wrap;
use crate::change::diff::Change;
use crate::qualify::duty::{DutyKey, Judged, Verdict};
use crate::record::Day;
use crate::record::sensitivity::Asks;
use serde_json::{Value, json};

const NOTE: &str = "Found by halving, every state judged as of today: what was taken back between two commits that are the same in this is not seen.";

/// A commit in which something turned.
#[derive(Debug, Clone, PartialEq)]
pub struct Turn {
    /// The commit.
    pub commit: String,
    /// Its day.
    pub on: Day,
    /// The first line of its message.
    pub summary: String,
    /// Decisions that it carries out.
    pub decisions: Vec<String>,
    /// What evidence no longer proves since.
    pub lost: Vec<Lost>,
    /// A panel's mass before and after, kg.
    pub kg: Option<(f64, f64)>,
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

fn turn_json(turn: &Turn) -> serde_json::Map<String, Value> {
    let mut map = serde_json::Map::new();
    map.insert("commit".to_string(), json!(turn.commit));
    map.insert("on".to_string(), json!(turn.on.to_string()));
    map.insert("summary".to_string(), json!(turn.summary));
    map.insert("decisions".to_string(), json!(turn.decisions));
    map
}

/// Returns what evidence lost as a document of schema `history-lapsed/1`, the newest commit first; `verdict` is null
/// where the duty is no longer asked.
pub fn lapsed_json(evidence: &str, proves: usize, turns: &[Turn]) -> Value {
    let one = |turn: &Turn| {
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
        let mut map = turn_json(turn);
        map.insert("lost".to_string(), json!(lost));
        Value::Object(map)
    };
    json!({
        "schema": "history-lapsed/1",
        "evidence": evidence,
        "proves": proves,
        "commits": turns.iter().map(one).collect::<Vec<_>>(),
    })
}

fn head(turn: &Turn) -> String {
    let commit: String = turn.commit.chars().take(7).collect();
    let decisions = match turn.decisions.as_slice() {
        [] => String::new(),
        all => format!("[{}] ", all.join(", ")),
    };
    format!("\n{}  {commit}  {decisions}{}\n", turn.on, shown(&turn.summary))
}

/// Returns it for people.
pub fn lapsed_text(evidence: &str, proves: usize, turns: &[Turn], frame: &Frame) -> String {
    let width = frame.columns();
    let mut text = format!("{}\n", frame.style.heading(evidence));
    let now = match proves {
        0 => "It proves nothing as the ledger stands.".to_string(),
        n => format!("It proves {} as the ledger stands, each counted for each panel.", duties(n)),
    };
    text.push_str(&wrap(&now, width));
    if turns.is_empty() {
        text.push_str(&wrap("No commit is found since which it proves less.", width));
    }
    for turn in turns {
        text.push_str(&head(turn));
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
            let words = format!("- {} on {}{panel}: {since}{why}", lost.duty.0, lost.duty.1);
            text.push_str(&wrap(&words, width));
        }
        if turn.lost.len() > most {
            text.push_str(&format!("and {} more; --all shows them\n", turn.lost.len() - most));
        }
    }
    text.push('\n');
    text.push_str(&wrap(NOTE, width));
    text
}

fn duties(n: usize) -> String {
    if n == 1 { "1 duty".to_string() } else { format!("{n} duties") }
}

/// Returns where a panel grew as a document of schema `history-grew/1`, the newest commit first.
pub fn grew_json(panel: &str, kg: Option<f64>, turns: &[Turn]) -> Value {
    let one = |turn: &Turn| {
        let mut map = turn_json(turn);
        map.insert("was_kg".to_string(), json!(turn.kg.map(|(was, _)| was)));
        map.insert("kg".to_string(), json!(turn.kg.map(|(_, is)| is)));
        map.insert("delta_kg".to_string(), json!(turn.kg.map(|(was, is)| is - was)));
        let changes: Vec<Value> = turn
            .changes
            .iter()
            .map(|one| json!({ "address": one.address, "attribute": one.attribute, "was": one.was, "is": one.is }))
            .collect();
        map.insert("changes".to_string(), json!(changes));
        Value::Object(map)
    };
    json!({
        "schema": "history-grew/1",
        "panel": panel,
        "kg": kg,
        "commits": turns.iter().map(one).collect::<Vec<_>>(),
    })
}

/// Returns it for people.
pub fn grew_text(panel: &str, kg: Option<f64>, turns: &[Turn], frame: &Frame) -> String {
    let width = frame.columns();
    let mut text = format!("{}\n", frame.style.heading(panel));
    let now = kg.map_or_else(
        || "Its mass can't be worked out as the ledger stands.".to_string(),
        |kg| format!("{kg:.3} kg as the ledger stands."),
    );
    text.push_str(&wrap(&now, width));
    if turns.is_empty() {
        text.push_str(&wrap("No commit is found that made it heavier.", width));
    }
    for turn in turns {
        text.push_str(&head(turn));
        if let Some((was, is)) = turn.kg {
            text.push_str(&format!("{} kg: {was:.3} -> {is:.3} kg\n", signed(is - was)));
        }
        let most = frame.shown(turn.changes.len(), 12);
        for change in turn.changes.iter().take(most) {
            let of = |value: &Option<String>| value.as_deref().map_or_else(|| "nothing".to_string(), shown);
            let words = format!("- {}: {} -> {}", shown(&change.address), of(&change.was), of(&change.is));
            text.push_str(&wrap(&words, width));
        }
        if turn.changes.len() > most {
            text.push_str(&format!(
                "and {} more; --all shows them\n",
                count(turn.changes.len() - most, "change")
            ));
        }
    }
    text.push('\n');
    text.push_str(&wrap(NOTE, width));
    text
}
