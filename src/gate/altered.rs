//! Evidence is not rewritten: what was finished and conformed stays as it was.

use super::Finding;
use crate::article::Subject;
use crate::change::approved::altered;
use crate::change::diff::{Edits, tree};
use crate::change::impact::renamed_subject;
use crate::ledger::{Entry, Ledger};
use crate::qualify::complete::Completion;
use crate::qualify::concede::is_approved_by_roles;
use crate::record::{
    Address, Approval, Concession, Conformed, Evidence, EvidenceState, PolicyLevel, RecordKind, import_of,
    without_import,
};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// The keys of finished evidence that may not differ.
///
/// `supersedes` is among them because a correction is a new record: added to one that is there, it would take
/// another out of the pool.
const KEPT: [&str; 12] = [
    "showing",
    "kind",
    "state",
    "made",
    "report",
    "data",
    "result",
    "baseline",
    "measured",
    "tested",
    "supersedes",
    "trial",
];

/// What `conform --complete` would add to records of the committed state, worked out anew; or why it would not.
pub type Completions = BTreeMap<String, Result<Completion, String>>;

/// Returns the finished records to whose configuration something is added: those that a completion could
/// explain.
pub fn to_be_completed<'b>(base: &'b Ledger, staged: &Ledger) -> Vec<&'b crate::ledger::Entry<Evidence>> {
    let added = |old: &Conformed, new: &Conformed| {
        old != new && old.attributes.iter().all(|(key, value)| new.attributes.get(key) == Some(value))
    };
    let both = |entry: &crate::ledger::Entry<Evidence>| {
        let new = staged.evidence.get(&entry.id)?;
        Some(added(entry.value.conformed.as_ref()?, new.value.conformed.as_ref()?))
    };
    let done = base.evidence.values().filter(|entry| entry.value.state == EvidenceState::Done);
    done.filter(|entry| both(entry).unwrap_or(false)).collect()
}

/// Finds finished evidence, approved decisions and approved concessions that differ or are gone; `stands` names the
/// decisions that are given up and stand in the records.
pub fn altered_evidence(
    base: &Ledger,
    staged: &Ledger,
    edits: &Edits,
    completions: &Completions,
    stands: &BTreeSet<String>,
) -> Vec<(Finding, String)> {
    let mut all = changed_data(staged);
    // A decision or concession that is only called otherwise is there still: decisions get new numbers.
    let now_called = |kind: RecordKind, id: &String| -> String {
        edits.renamed.get(&(kind, id.clone())).unwrap_or(id).clone()
    };
    // Where no digest was written, the bytes that were committed are what was conformed.
    for (id, data) in &base.data {
        let finished = base.evidence.get(id).is_some_and(|entry| {
            entry.value.state == EvidenceState::Done
                && entry.value.conformed.is_some()
                && entry.value.digest.is_none()
        });
        if let Some(now) = staged.data.get(id).filter(|now| finished && now.digest != data.digest) {
            let message =
                format!("evidence/{id}: the bytes of `{}` are not those that were committed", now.file);
            all.push(finding(RecordKind::Evidence, id, "data", message));
        }
    }
    for entry in base.evidence.values() {
        let old = &entry.value;
        if old.state != EvidenceState::Done || old.conformed.is_none() {
            continue;
        }
        // Reports and other records go by the name of what was finished: it stays.
        let Some(now) = staged.evidence.get(&entry.id) else {
            if is_moved((base, entry), staged) {
                continue;
            }
            if !staged.broken.contains(&Address::new(RecordKind::Evidence, entry.id.clone())) {
                let message = format!("evidence/{} was finished and conformed, and is gone", entry.id);
                let (mut found, key) = finding(RecordKind::Evidence, &entry.id, "", message);
                found.help =
                    "bring the record back; a correction is a new record that names it by `supersedes`"
                        .to_string();
                all.push((found, key));
            }
            continue;
        };
        if std::sync::Arc::ptr_eq(old, &now.value) {
            continue;
        }
        let completion = completions.get(&entry.id);
        for key in differing(old, &now.value, completion.and_then(|one| one.as_ref().ok()), edits) {
            // What another ledger added to its own is held against its own commits, by its own gate.
            if key == "conformed" && completion.is_some() && import_of(&entry.id).is_some() {
                continue;
            }
            let why = match completion {
                Some(Err(why)) if key == "conformed" => {
                    format!(", and is not what completing it gives: {why}")
                }
                Some(Ok(_)) if key == "conformed" => ", and is not what completing it gives".to_string(),
                _ => String::new(),
            };
            let message = format!(
                "evidence/{}: `{key}` of finished evidence differs from what was committed{why}",
                entry.id
            );
            all.push(finding(RecordKind::Evidence, &entry.id, &key, message));
        }
    }
    for one in altered(base, staged, edits, stands) {
        let message = format!("decision/{} was {}: {}", one.id, one.was.word(), one.words());
        let (mut found, key) = finding(RecordKind::Decision, &one.id, one.key(), message);
        found.help = one.help().to_string();
        all.push((found, key));
    }
    for entry in base.concessions.values() {
        // One that lacks names alone was approved all the same: it takes them and nothing else.
        // What is said to be approved later is not approved yet, and that day may be corrected.
        let come = Approval::come(&entry.value.approvals, staged.today);
        if !is_approved_by_roles(base, &come) || come.is_empty() {
            continue;
        }
        let called = now_called(RecordKind::Concession, &entry.id);
        let now = staged.concessions.get(&called).map(|now| -> &Concession { &now.value });
        let same = called != entry.id
            || now.is_some_and(|now| {
                let named = Concession { approvals: entry.value.approvals.clone(), ..now.clone() };
                let kept = named == *entry.value || is_renamed(&entry.value, &named, edits);
                kept && Approval::are_kept(&come, &now.approvals)
            });
        if !same && !broken(staged, RecordKind::Concession, &entry.id) {
            let message = format!("concession/{} was approved and differs or is gone", entry.id);
            all.push(finding(RecordKind::Concession, &entry.id, "", message));
        }
    }
    all
}

/// Returns whether finished evidence stands in another ledger now that this one imports, or stood in one and stands here,
/// word for word but for the import's name.
fn is_moved((base, old): (&Ledger, &Entry<Evidence>), staged: &Ledger) -> bool {
    let digest = |ledger: &Ledger, id: &str| ledger.data.get(id).map(|data| data.digest.clone());
    let own = without_imports(tree(&*old.value));
    staged.evidence.values().any(|now| {
        without_import(&now.id) == without_import(&old.id)
            && (import_of(&now.id).is_some() || import_of(&old.id).is_some())
            && without_imports(tree(&*now.value)) == own
            && digest(staged, &now.id) == digest(base, &old.id)
    })
}

/// A record's values with every name as it is in its own ledger.
fn without_imports(value: Value) -> Value {
    match value {
        Value::String(text) => Value::String(match text.split_once('.') {
            // A face of a bond says of what kind it is first.
            Some((face @ ("laminate" | "sheet"), id)) => format!("{face}.{}", without_import(id)),
            _ => without_import(&text).to_string(),
        }),
        Value::Array(all) => all.into_iter().map(without_imports).collect(),
        Value::Object(all) => {
            Value::Object(all.into_iter().map(|(key, one)| (key, without_imports(one))).collect())
        }
        other => other,
    }
}

/// Returns whether a concession differs only in that what it names is called otherwise now.
fn is_renamed(old: &Concession, new: &Concession, edits: &Edits) -> bool {
    let kept =
        Concession { subject: new.subject.clone(), showing: new.showing.clone(), ..old.clone() } == *new;
    let subject = |label| Subject::from_label(label);
    let (Some(was), Some(is)) = (subject(&old.subject), subject(&new.subject)) else { return false };
    let showing = old.showing.id().to_string();
    let showing = edits.renamed.get(&(RecordKind::Showing, showing.clone())).unwrap_or(&showing).clone();
    kept && renamed_subject(&was, &edits.renamed) == is && showing == new.showing.id()
}

/// Finds data whose bytes are not those of the digest that was written.
pub(super) fn changed_data(ledger: &Ledger) -> Vec<(Finding, String)> {
    let mut all = Vec::new();
    for entry in ledger.evidence.values() {
        let Some(written) = &entry.value.digest else { continue };
        if let Some(data) = ledger.data.get(&entry.id)
            && data.digest != *written
        {
            let message = format!(
                "evidence/{}: the bytes of `{}` are not those that were conformed (digest {} now, {} written)",
                entry.id,
                data.file,
                shortened(&data.digest),
                shortened(written)
            );
            let (mut found, key) = finding(RecordKind::Evidence, &entry.id, "digest", message);
            found.help = format!(
                "restore `{}`; corrected data is a new file, named by a new record with `supersedes`",
                data.file
            );
            all.push((found, key));
        }
    }
    all
}

fn broken(ledger: &Ledger, kind: RecordKind, id: &str) -> bool {
    ledger.broken.contains(&Address::new(kind, id))
}

fn differing(old: &Evidence, new: &Evidence, completion: Option<&Completion>, edits: &Edits) -> Vec<String> {
    let (was, is) = (tree(old), tree(new));
    let mut all: Vec<String> =
        KEPT.iter().filter(|key| was.get(**key) != is.get(**key)).map(|key| (*key).to_string()).collect();
    // What it answers may be called otherwise.
    let showing = edits.renamed.get(&(RecordKind::Showing, old.showing.id().to_string()));
    all.retain(|key| key != "showing" || showing.map(String::as_str) != Some(new.showing.id()));
    // A digest may be added where none was; it may not change.
    if old.digest.is_some() && old.digest != new.digest {
        all.push("digest".to_string());
    }
    if let (Some(old), Some(new)) = (&old.conformed, &new.conformed) {
        // Adding exactly what an older form lacks is no alteration, and nothing else is none. The commit is what
        // that is worked out from, so it stays too.
        let completed = completion.is_some_and(|completion| {
            let map = Conformed { attributes: new.attributes.clone(), form: completion.form, ..old.clone() };
            map == *new && completion.is_between(&old.attributes, &new.attributes)
        });
        if old != new && !completed {
            all.push("conformed".to_string());
        }
    } else {
        all.push("conformed".to_string());
    }
    if old.disposition.is_some() && old.disposition != new.disposition {
        all.push("disposition".to_string());
    }
    all.sort();
    all.dedup();
    all
}

fn shortened(digest: &str) -> String {
    digest.chars().take(19).collect()
}

fn finding(kind: RecordKind, id: &str, route: &str, message: String) -> (Finding, String) {
    let found = Finding {
        rule: "altered-evidence",
        level: PolicyLevel::Block,
        address: Address::new(kind, id),
        route: route.to_string(),
        panel: None,
        message,
        help: match kind {
            RecordKind::Evidence => "leave the record as it was; a correction is a new record that names it by `supersedes`",
            _ => "leave the concession as it was, but for names (`by`) of those who approved and further approvals; another departure, or a longer one, is another concession",
        }
        .to_string(),
        place: None,
    };
    let key = format!("{kind}/{id}#{route}");
    (found, key)
}
