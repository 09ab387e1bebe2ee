//! Which files are records, of which kind and with which id.

use super::Files;
use super::sink::{At, Sink};
use crate::record::{Address, Level, RecordKind, import_of, is_id, named, without_import};
use std::collections::BTreeMap;

/// The file that makes a directory a ledger.
pub(super) const HEAD_FILE: &str = "ledger.yaml";

/// A file that is a record by its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Found {
    /// Kind, by the folder.
    pub kind: RecordKind,
    /// Id, by the stem, in lower case; of a record of an import with the import's name before it.
    pub id: String,
    /// Path relative to the ledger's root.
    pub file: String,
    /// Whether the id is one and no other record of the kind has it.
    pub usable: bool,
}

/// Finds all records in the order of their paths, with what is wrong with names and folders, and the
/// records that are there but are no plain files.
pub(super) fn records(files: &dyn Files) -> (Vec<Found>, Vec<Sink>, Vec<Address>) {
    let mut found = Vec::new();
    let mut broken = Vec::new();
    let mut sinks = Vec::new();
    for path in files.paths() {
        let mut sink = Sink::new(&path);
        if RecordKind::by_folder(&path).is_some() {
            sink.warning(
                "folder-name",
                At::File,
                format!("`{path}` is a file; records stand in a folder of this name"),
            )
            .label("not read")
            .help("make a folder of it, or give the file another name");
        }
        if let Some(one) = record(&path, &mut sink) {
            found.push(one);
        }
        sinks.push(sink);
    }
    duplicates(&mut found, &mut sinks);
    for (path, what) in files.oddities() {
        let mut sink = Sink::new(&path);
        let message = format!("`{path}` is {what}, no plain file");
        if what.contains("link") {
            sink.error("link-in-ledger", At::File, message).label(what.as_str()).help(
                "put the file itself here: links are not followed, so that a ledger is the same everywhere",
            );
        } else if what == "unmerged" {
            let message = format!("`{path}` is not merged yet: the index has both sides of it");
            let help = format!("settle it in the file, then `git add {path}`");
            sink.error("not-a-file", At::File, message).label("both sides").help(help);
        } else {
            sink.error("not-a-file", At::File, message)
                .label(what.as_str())
                .help("put a plain file here, or take it away");
        }
        sinks.push(sink);
        // Only the fault above is said of it; its name is none of its faults.
        if let Some(one) = record(&path, &mut Sink::new(&path)) {
            broken.push(Address::new(one.kind, one.id));
        }
    }
    for name in files.folders() {
        folder(&name, &mut sinks);
    }
    (found, sinks, broken)
}

fn record(path: &str, sink: &mut Sink) -> Option<Found> {
    let import = import_of(path);
    let (top, rest) = without_import(path).split_once('/')?;
    let kind = RecordKind::by_folder(top)?;
    let name = rest.rsplit('/').next()?;
    let (stem, ending) = name.rsplit_once('.')?;
    if ending != "yaml" {
        if ending.eq_ignore_ascii_case("yml") || ending.eq_ignore_ascii_case("yaml") {
            sink.warning("not-read", At::File, format!("`{path}` is not read: records end in `.yaml`"))
                .label("another ending")
                .help(format!("rename it to `{stem}.yaml`"));
        }
        return None;
    }
    let usable = is_id(stem);
    if !usable {
        sink.error(
            "bad-id",
            At::File,
            format!("`{stem}` is no id: ids are lower-case letters, digits and `-`"),
        )
        .label("bad id")
        .help(format!("rename it to `{}.yaml`", plain(stem)));
    }
    if reserved(stem) {
        sink.warning("reserved-name", At::File, format!("`{name}` is no name that every system can store"))
            .label("reserved name")
            .help("rename it: Windows keeps `con`, `nul`, `aux`, `prn`, `com1` to `lpt9` for devices");
    }
    Some(Found { kind, id: named(import, &stem.to_lowercase()), file: path.to_string(), usable })
}

/// Names of devices under Windows, whatever their case and ending.
fn reserved(stem: &str) -> bool {
    let lower = stem.split('.').next().unwrap_or_default().to_lowercase();
    let numbered = lower.strip_prefix("com").or_else(|| lower.strip_prefix("lpt"));
    matches!(lower.as_str(), "con" | "nul" | "aux" | "prn")
        || numbered.is_some_and(|digit| matches!(digit.as_bytes(), [b'1'..=b'9']))
}

/// Makes an id out of a stem that is none.
fn plain(stem: &str) -> String {
    let joined: String =
        stem.to_lowercase().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect();
    let parts: Vec<&str> = joined.split('-').filter(|part| !part.is_empty()).collect();
    if parts.is_empty() { "record".to_string() } else { parts.join("-") }
}

fn duplicates(found: &mut [Found], sinks: &mut Vec<Sink>) {
    let mut by_id: BTreeMap<(RecordKind, String), Vec<String>> = BTreeMap::new();
    for one in found.iter() {
        by_id.entry((one.kind, one.id.clone())).or_default().push(one.file.clone());
    }
    for ((kind, id), all) in by_id.iter().filter(|(_, all)| all.len() > 1) {
        for own in all {
            let others: Vec<&String> = all.iter().filter(|other| *other != own).collect();
            let names = others.iter().map(|other| format!("`{other}`")).collect::<Vec<_>>().join(", ");
            let mut sink = Sink::new(own);
            let raised =
                sink.error("duplicate-id", At::File, format!("`{own}` and {names} are both {kind} `{id}`"));
            raised.label("same id");
            raised.help("rename one of them: an id stands for one record, whatever its folder and case");
            for other in others {
                raised.why(other, At::File, "the same id here");
            }
            sinks.push(sink);
        }
    }
    for one in found.iter_mut() {
        one.usable &= by_id.get(&(one.kind, one.id.clone())).is_none_or(|all| all.len() == 1);
    }
}

fn folder(name: &str, sinks: &mut Vec<Sink>) {
    if RecordKind::by_folder(name).is_some() {
        return;
    }
    let lower = name.to_lowercase();
    let near = RecordKind::ALL.iter().find(|kind| {
        kind.word() == lower || kind.folder() == lower || crate::quantity::apart(kind.folder(), name) == 1
    });
    if let Some(kind) = near {
        let mut sink = Sink::new(name);
        sink.elsewhere(
            Level::Warning,
            "folder-name",
            name,
            At::File,
            format!(
                "the folder `{name}` is not read: {} {} in `{}`",
                kind.folder(),
                if *kind == RecordKind::Evidence { "stands" } else { "stand" },
                kind.folder()
            ),
        )
        .label("not read")
        .help(format!("rename it to `{}`", kind.folder()));
        sinks.push(sink);
    }
}
