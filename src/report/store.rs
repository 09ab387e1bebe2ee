//! The store of earlier answers as text and JSON.

use super::page::count;
use super::table::wrap;
use serde_json::{Value, json};

/// The store as it is.
pub struct State {
    /// The file.
    pub path: String,
    /// `present`, `absent`, or why it can't be used, in a word.
    pub word: &'static str,
    /// The same in a sentence, where it can't be used.
    pub why: Option<String>,
    /// Bytes on disk.
    pub bytes: u64,
    /// Bytes at most.
    pub limit: u64,
    /// What is kept: kind, number, bytes.
    pub kept: Vec<(String, u64, u64)>,
}

/// What came of working out anew what is kept.
#[derive(Default)]
pub struct Verified {
    /// How many values are the same.
    pub same: usize,
    /// Those that are not: kind, and the beginning of the key.
    pub differing: Vec<(String, String)>,
    /// How many can't be worked out here: their files are others now, or another build kept them.
    pub gone: usize,
}

/// Returns the document `store/1`.
pub fn json(state: &State, cleared: Option<bool>, verified: Option<&Verified>) -> Value {
    let kept: Vec<Value> = state
        .kept
        .iter()
        .map(|(what, count, bytes)| json!({ "what": what, "count": count, "bytes": bytes }))
        .collect();
    let differing = |verified: &Verified| -> Vec<Value> {
        verified.differing.iter().map(|(what, key)| json!({ "what": what, "key": key })).collect()
    };
    json!({
        "schema": "store/1",
        "path": state.path,
        "state": state.word,
        "why": state.why,
        "bytes": state.bytes,
        "limit_bytes": state.limit,
        "kept": kept,
        "cleared": cleared,
        "verified": verified.map(|verified| json!({
            "same": verified.same,
            "differing": differing(verified),
            "not_made_again": verified.gone,
        })),
    })
}

/// Returns the same as text.
pub fn text(state: &State, cleared: Option<bool>, verified: Option<&Verified>, width: usize) -> String {
    let mut lines = Vec::new();
    match cleared {
        Some(true) => lines
            .push("The store is taken away; it comes back with the next answer that is kept.".to_string()),
        Some(false) => lines.push("There was no store.".to_string()),
        None => {}
    }
    if let Some(verified) = verified {
        lines.push(if verified.same + verified.gone == 0 && verified.differing.is_empty() {
            "Nothing is kept.".to_string()
        } else {
            format!(
                "{} worked out anew: {} the same, {} not. {} not worked out, as their files are others now or another build kept them.",
                count(verified.same + verified.differing.len(), "value"),
                verified.same,
                verified.differing.len(),
                count(verified.gone, "value")
            )
        });
        for (what, key) in &verified.differing {
            lines.push(format!("differs: {what} ({key})"));
        }
        if !verified.differing.is_empty() {
            lines.push("`bondline store clear` takes the store away; no answer needs it.".to_string());
        }
    }
    if cleared.is_none() && verified.is_none() {
        lines.push(match (state.word, &state.why) {
            ("present", _) => format!("The store of earlier answers: {}", state.path),
            ("absent", _) => {
                format!("There is no store yet; the next answer that is kept makes it: {}", state.path)
            }
            (_, why) => format!(
                "The store {} is not used: {}. Answers are worked out without it.",
                state.path,
                why.as_deref().unwrap_or("it can't be read")
            ),
        });
        for (what, number, bytes) in &state.kept {
            lines.push(format!(
                "{what}: {}, {}",
                count(usize::try_from(*number).unwrap_or(usize::MAX), "value"),
                size(*bytes)
            ));
        }
        lines.push(format!(
            "It holds {} at most, what was used last; it is never the only copy of anything.",
            size(state.limit)
        ));
    }
    lines.iter().map(|line| format!("{}\n", wrap(line, width).trim_end())).collect()
}

fn size(bytes: u64) -> String {
    match bytes {
        0..1024 => format!("{bytes} bytes"),
        1024..1_048_576 => format!("{} KiB", bytes / 1024),
        _ => format!("{} MiB", bytes / 1_048_576),
    }
}
