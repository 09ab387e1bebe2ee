//! A row of a study as a draft of a decision.

use super::rank::Ranked;
use crate::change::draft::Draft;
use crate::change::weaker::Weaker;
use crate::qualify::verdict::{DutyKey, Verdict};
use crate::record::Day;

/// Duties named in `why`; the rest is counted.
const NAMED: usize = 3;

/// Says that duties are open and stay so.
fn open_words(open: &[(DutyKey, Verdict)]) -> String {
    let named = open
        .iter()
        .take(NAMED)
        .map(|((showing, subject), verdict)| format!("showing/{showing} of {subject} ({verdict})"));
    let mut names: Vec<String> = named.collect();
    if open.len() > NAMED {
        names.push(format!("{} more", open.len() - NAMED));
    }
    let (count, what) = (open.len(), if open.len() == 1 { "duty is" } else { "duties are" });
    format!("and proves none of it: {count} {what} not met on what it changes: {}", names.join(", "))
}

/// Returns a row as a draft; `study` is the study's id, `title` what people call it.
pub fn draft(study: &str, title: Option<&str>, row: &Ranked, today: Day) -> Draft {
    let first = row.words.first().map_or(study, String::as_str);
    let rest = match row.words.len() {
        0 | 1 => String::new(),
        many => format!(", and {} more", many - 1),
    };
    let weeks = match row.grams_per_week {
        Some(_) => format!("{:.1} weeks and {} specimens of tests", row.row.weeks, row.row.specimens),
        None if row.row.is_weakened() => "no test, by a weaker requirement".to_string(),
        None if row.row.is_free() => "no test".to_string(),
        // Whoever approves it reads this and nothing else.
        None => format!("no more than is open already, {}", open_words(&row.row.open)),
    };
    let weaker: Vec<String> = row.row.weaker.iter().map(Weaker::words).collect();
    let weakened = match weaker.as_slice() {
        [] => String::new(),
        all => format!(" It asks less than before: {}.", all.join("; ")),
    };
    let why = format!(
        "Row {} of study/{study}{}: {}. Saves {:.0} g for {weeks}.{weakened}",
        row.number,
        title.map_or(String::new(), |title| format!(" ({title})")),
        row.words.join("; "),
        -row.row.delta * 1e3
    );
    Draft {
        title: format!("{first}{rest}"),
        name: Some(format!("{study}-row-{}", row.number)),
        why: Some(why),
        owner: None,
        raised: today,
        supersedes: None,
        base: None,
        changes: row.changes.clone(),
    }
}
