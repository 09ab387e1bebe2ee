//! Records of other ledgers: whether they could be had, what is left out, how far their commit has fallen behind.

use super::known::{Firsts, Known, entry};
use super::sink::{At, Sink};
use super::{Entry, Files, Ledger, head, subjects};
use crate::record::{Address, Evidence, RecordKind, Showing, import_of};
use crate::source::{ImportFault, Imported, RECORD_LIMIT, Taken};
use serde::Serialize;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

/// How many names a message lists.
const SHOWN: usize = 3;

/// Says why nothing can be taken from an import, and which format is too new.
pub(super) fn faults(files: &dyn Files, imports: &mut [Imported]) -> Sink {
    let mut sink = Sink::new(super::find::HEAD_FILE);
    for own in imports {
        let at = |key: &str| At::from(entry("imports", own.at, key));
        match &own.outcome {
            Err(fault) => {
                let (key, words) = (at(fault.key()), fault.to_string());
                let raised = match fault {
                    ImportFault::Written(..) | ImportFault::Outside(_) | ImportFault::Link(_) => {
                        sink.error("bad-import", key, words).label("no import")
                    }
                    _ => sink.error("import-missing", key, words).label("not found"),
                };
                raised.help(fault.mend());
            }
            Ok(taken) => {
                let file = crate::record::named(Some(&own.name), super::find::HEAD_FILE);
                let read = files.read(&file, RECORD_LIMIT).ok();
                let Some(format) = read.as_deref().and_then(head::newer_than_known) else { continue };
                let words = format!(
                    "the ledger of `{}` is of format {format}, this program reads {}",
                    own.name,
                    head::FORMAT
                );
                sink.error("format-newer", at("commit"), words.clone())
                    .label("newer format")
                    .help("use a later version of bondline, or name an earlier commit");
                let commit = taken.commit.clone();
                let path = own.name.clone();
                own.outcome = Err(ImportFault::Unreadable { commit, path, why: words });
            }
        }
    }
    sink
}

impl Ledger {
    /// Returns whether an id is of an import that nothing could be taken from: what it names is not known to be
    /// missing.
    pub(super) fn is_of_lost_import(&self, id: &str) -> bool {
        import_of(id)
            .is_some_and(|name| self.imports.iter().any(|own| own.name == name && own.outcome.is_err()))
    }

    /// Returns the import that an id is of, where `ledger.yaml` names none such.
    pub(super) fn unknown_import<'i>(&self, id: &'i str) -> Option<&'i str> {
        import_of(id).filter(|name| self.imports.iter().all(|own| own.name != *name))
    }
}

/// Takes out what another ledger asks of what is not here: showings of its own panels, evidence for showings that are
/// not taken. They are said once an import, since nobody here can mend them.
pub(super) fn leave_out(ledger: &mut Ledger) -> Sink {
    let mut out: BTreeMap<String, Vec<String>> = BTreeMap::new();
    // Most ledgers have none, and what is first among several is not looked up for them.
    while !ledger.imports.is_empty() {
        let showings = ledger.showings.values().filter(|own| import_of(&own.id).is_some());
        let evidence = ledger.evidence.values().filter(|own| import_of(&own.id).is_some());
        let firsts = Firsts::of(ledger);
        let known = Known { ledger, firsts: &firsts };
        let lost: Vec<(RecordKind, String, String)> = showings
            .filter_map(|own| Some((RecordKind::Showing, own.id.clone(), lost_of_showing(ledger, own)?)))
            .chain(evidence.filter_map(|own| {
                Some((RecordKind::Evidence, own.id.clone(), lost_of_evidence(known, own)?))
            }))
            .collect();
        if lost.is_empty() {
            break;
        }
        for (kind, id, missing) in lost {
            match kind {
                RecordKind::Showing => drop(ledger.showings.remove(&id)),
                _ => drop(ledger.evidence.remove(&id)),
            }
            let words = format!("{} (no {missing})", Address::new(kind, id.clone()));
            out.entry(import_of(&id).unwrap_or_default().to_string()).or_default().push(words);
        }
    }
    let mut sink = Sink::new(super::find::HEAD_FILE);
    for own in &ledger.imports {
        let Some(words) = out.get(&own.name) else { continue };
        let what = match words.len() {
            1 => format!("1 record of `{}` asks for what is not here, and is left out", own.name),
            many => format!("{many} records of `{}` ask for what is not here, and are left out", own.name),
        };
        sink.note(
            "import-left-out",
            At::from(entry("imports", own.at, "name")),
            format!("{what}: {}", few(words)),
        )
        .label("not all is taken")
        .help("nothing has to be done; take their kinds too, or write the records that they ask for");
    }
    sink
}

fn lost_of_showing(ledger: &Ledger, own: &Entry<Showing>) -> Option<String> {
    let applies = own.value.applies_to.as_ref();
    let asked = applies.map(|applies| {
        let panels = applies.panel.iter().map(crate::record::PanelRef::address);
        let recipes = applies.recipe.iter().map(crate::record::RecipeRef::address);
        panels.chain(recipes).chain(applies.material.iter().map(crate::record::MaterialRef::address))
    });
    let leans = own.value.after.iter().chain(&own.value.rests_on).map(crate::record::ShowingRef::address);
    let lost = asked.into_iter().flatten().chain(leans).find(|other| is_lost(ledger, other));
    lost.map(|other| other.to_string())
}

fn lost_of_evidence(known: Known<'_>, own: &Entry<Evidence>) -> Option<String> {
    let others = [&own.value.baseline, &own.value.supersedes];
    let others = others.into_iter().flatten().map(crate::record::EvidenceRef::address);
    let lost =
        std::iter::once(own.value.showing.address()).chain(others).find(|other| is_lost(known.ledger, other));
    if let Some(lost) = lost {
        return Some(lost.to_string());
    }
    // What is not conformed is about what its label names now.
    let mut sink = Sink::new(&own.file);
    if own.value.conformed.is_none() && subjects::kind(&mut sink, &own.value.subject).is_some() {
        subjects::resolve(known, &mut sink, &own.value.subject);
        return sink.has_errors().then(|| "such subject".to_string());
    }
    None
}

fn is_lost(ledger: &Ledger, other: &Address) -> bool {
    ledger.file_of(other).is_none() && !ledger.broken.contains(other)
}

fn few(words: &[String]) -> String {
    let shown = words.iter().take(SHOWN).map(String::as_str).collect::<Vec<_>>().join(", ");
    match words.len().saturating_sub(SHOWN) {
        0 => shown,
        more => format!("{shown} and {more} more"),
    }
}

/// Says where a pinned commit is no longer what its repository has, and which records in use differ.
pub(super) fn behind(ledger: &Ledger) -> Sink {
    let mut sink = Sink::new(super::find::HEAD_FILE);
    let drifted = ledger.imports.iter().filter_map(|own| match &own.outcome {
        Ok(Taken { drift: Some(drift), .. }) if drift.behind + drift.ahead > 0 => Some((own, drift)),
        _ => None,
    });
    let mut used: Option<BTreeSet<Address>> = None;
    for (own, drift) in drifted {
        let commits =
            |count: usize| if count == 1 { "1 commit".to_string() } else { format!("{count} commits") };
        let stands = match (drift.behind, drift.ahead) {
            (behind, 0) => format!("{} behind HEAD of its repository", commits(behind)),
            (0, ahead) => format!("not in HEAD of its repository, which is {} behind it", commits(ahead)),
            (behind, ahead) => format!(
                "not in HEAD of its repository: {} there alone, {} here alone",
                commits(behind),
                commits(ahead)
            ),
        };
        let used = used.get_or_insert_with(|| in_use(ledger));
        let differing: BTreeSet<Address> =
            drift.differing.iter().filter_map(|path| touched(ledger, path)).collect();
        let differing: Vec<String> =
            differing.iter().filter(|own| used.contains(own)).map(ToString::to_string).collect();
        let words = match differing.len() {
            0 => "no record that is in use differs there".to_string(),
            1 => format!("1 record in use differs there: {}", few(&differing)),
            more => format!("{more} records in use differ there: {}", few(&differing)),
        };
        sink.warning(
            "import-behind",
            At::from(entry("imports", own.at, "commit")),
            format!("the commit of `{}` is {stands}; {words}", own.name),
        )
        .label("not the newest")
        .help("name the newer commit here, and ask `bondline impact` what it changes before it is committed");
    }
    sink
}

/// The record that a file of an import is, or the evidence whose data it has.
fn touched(ledger: &Ledger, path: &str) -> Option<Address> {
    if let Some((id, _)) = ledger.data.iter().find(|(_, data)| data.file == path) {
        return Some(Address::new(RecordKind::Evidence, id.clone()));
    }
    Address::parse(path).filter(|_| path.ends_with(".yaml"))
}

/// The records of imports that this ledger's own name, directly or by others of imports; showings and evidence are in
/// use where they are taken.
fn in_use(ledger: &Ledger) -> BTreeSet<Address> {
    let mut named: BTreeMap<Address, BTreeSet<String>> = BTreeMap::new();
    let mut add = |kind: RecordKind, id: &str, value: Value| {
        let mut texts = BTreeSet::new();
        gather(&value, &mut texts);
        named.insert(Address::new(kind, id), texts);
    };
    macro_rules! all {
        ($($kind:ident: $records:ident),*) => {
            $(for (id, own) in &ledger.$records { add(RecordKind::$kind, id, tree(&*own.value)); })*
        };
    }
    all!(
        Material: materials, Process: processes, Tool: tools, Finish: finishes, Recipe: recipes, Panel: panels,
        Assembly: assemblies, Showing: showings, Evidence: evidence, Concession: concessions, Study: studies
    );
    let always = |own: &Address| {
        own.import().is_none() || matches!(own.kind(), RecordKind::Showing | RecordKind::Evidence)
    };
    let mut called: BTreeMap<&str, Vec<&Address>> = BTreeMap::new();
    for own in named.keys().filter(|own| own.import().is_some()) {
        called.entry(own.id()).or_default().push(own);
    }
    let mut waiting: Vec<Address> = named.keys().filter(|own| always(own)).cloned().collect();
    let mut used: BTreeSet<Address> = waiting.iter().cloned().collect();
    while let Some(next) = waiting.pop() {
        let Some(texts) = named.get(&next) else { continue };
        for own in texts.iter().filter_map(|text| called.get(text.as_str())).flatten() {
            if used.insert((*own).clone()) {
                waiting.push((*own).clone());
            }
        }
    }
    used
}

fn tree<T: Serialize>(value: &T) -> Value {
    serde_json::to_value(value).unwrap_or(Value::Null)
}

fn gather(value: &Value, texts: &mut BTreeSet<String>) {
    match value {
        Value::String(text) if import_of(text).is_some() => drop(texts.insert(text.clone())),
        Value::Array(all) => all.iter().for_each(|one| gather(one, texts)),
        Value::Object(map) => map.values().for_each(|one| gather(one, texts)),
        _ => {}
    }
}
