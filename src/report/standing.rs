//! What a concession does for the duty that it names, as things stand.

use crate::article::Subject;
use crate::ledger::Entry;
use crate::qualify::verdict::{Evaluation, Verdict};
use crate::record::sensitivity::Asks;
use crate::record::{Concession, Covered, Covers};

/// Returns what is conceded, for whom and until when, and whether the duty needs it and has it; a sentence each.
pub fn concession(own: &Entry<Concession>, evaluation: &Evaluation) -> Vec<String> {
    let value = &own.value;
    let showing = value.showing.id();
    let Some(subject) = Subject::from_label(&value.subject) else { return Vec::new() };
    let units: Vec<String> = value
        .limit
        .map(|limit| format!("{limit} units"))
        .into_iter()
        .chain((!value.serials.is_empty()).then(|| {
            let serials: Vec<&str> = value.serials.iter().map(|serial| serial.as_str()).collect();
            format!("serials {}", serials.join(", "))
        }))
        .collect();
    let whom = if units.is_empty() { String::new() } else { format!(" for {},", units.join(" and ")) };
    let mut said = vec![
        format!("Concedes {showing} on {subject}{whom} until {}.", value.until),
        format!("Covers {}.", covered(&value.covers)),
    ];
    let Some(duty) = evaluation.duties.get(&(showing.to_string(), subject)) else {
        said.push("Nothing in use asks that of that subject now, so it covers nothing.".to_string());
        return said;
    };
    let (verdict, asks) = (duty.verdict(), duty.asks());
    let asks = if asks > Asks::None { format!(", asks {asks}") } else { String::new() };
    let name = format!("concession/{}", own.id);
    let mut notes: Vec<String> = duty
        .panels
        .values()
        .flat_map(|judged| &judged.because)
        .filter(|reason| reason.attribute == "concession")
        .filter(|reason| reason.is.split(' ').next() == Some(name.as_str()))
        .map(|reason| reason.is.to_string())
        .collect();
    notes.sort();
    notes.dedup();
    let until = format!("{name} until ");
    let holds = notes.iter().any(|note| note.starts_with(&until));
    said.push(match (verdict, notes.as_slice()) {
        (Verdict::Met, _) => "The duty is met without it.".to_string(),
        (_, []) => format!("The duty is {verdict}{asks}; it plays no part in that."),
        // Another concession closes it.
        (Verdict::Conceded, notes) if !holds => {
            format!("The duty is {verdict}{asks}, not by this one: {}.", notes.join("; "))
        }
        (_, notes) => format!("The duty is {verdict}{asks}: {}.", notes.join("; ")),
    });
    said
}

fn covered(covers: &Covers) -> String {
    match covers {
        Covers::Failed => "a criterion that does not hold".to_string(),
        Covers::Differences(all) => {
            let words = |(attribute, one): (&String, &Covered)| {
                let bounds = [
                    one.at_most.as_ref().map(|value| format!("at most {}", value.as_str())),
                    one.at_least.as_ref().map(|value| format!("at least {}", value.as_str())),
                    one.equals.as_ref().map(ToString::to_string),
                ];
                format!("{attribute} {}", bounds.into_iter().flatten().collect::<Vec<_>>().join(", "))
            };
            let list: Vec<String> = all.iter().map(words).collect();
            format!("{}, and no other difference", list.join("; "))
        }
    }
}
