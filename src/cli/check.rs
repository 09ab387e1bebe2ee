//! `bondline check`.

use super::args::{CheckArgs, Format};
use super::context::{Context, Failure, Status, to_the_end};
use super::memory::{Asked, Glanced, still_is};
use crate::change::approved::faults as altered_faults;
use crate::change::past::{Past, Revisions};
use crate::change::stale::open_faults;
use crate::ledger::Ledger;
use crate::record::{Fault, Level, Place as Stretch, RecordKind, Why, render};
use crate::report::junit::{self, Case};
use crate::report::{faults, rules, sarif};
use crate::source::{Commit, Origin, Place, RECORD_LIMIT, Snapshot, SourceError};
use crate::store::Kept;
use serde_json::{Map, Value, json};
use std::collections::BTreeMap;
use std::io::Write;
use std::mem::ManuallyDrop;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};

/// What the store calls the faults of a state.
pub(super) const KEPT: &str = "check";

pub(super) fn run(context: &mut Context, args: &CheckArgs, out: &mut dyn Write) -> Result<Status, Failure> {
    let place = context.place()?;
    let of_tree = args.source.at.is_none() && !args.source.staged;
    let glanced = if of_tree { context.memory.glanced(&place) } else { Glanced::default() };
    let is_shown = |fault: &Fault| args.notes || context.json() || fault.level > Level::Note;
    // Of a tree that looks as it did nothing is listed, unless for whoever shows its texts.
    let shows_texts = |all: &[Fault]| match context.format {
        Format::Json => false,
        Format::Junit => true,
        _ => all.iter().any(is_shown),
    };
    let before = glanced.identity.as_ref().and_then(|identity| answered(context, &place, identity, true));
    let (all, snapshot) = match before.filter(|all| !shows_texts(all)) {
        Some(all) => (all, None),
        None => {
            let snapshot = to_the_end(Context::snapshot(&place, &args.source)?);
            (recalled(context, &place, &snapshot, glanced)?, Some(snapshot))
        }
    };
    let shown: Vec<&Fault> = all.iter().filter(|fault| is_shown(fault)).collect();
    let text_of = |file: &str| {
        let bytes = snapshot.as_ref()?.read_limited(file, RECORD_LIMIT).ok()?;
        String::from_utf8(bytes.to_vec()).ok()
    };
    if context.json() {
        writeln!(out, "{:#}", faults::json(&all))?;
    } else if context.format == Format::Sarif {
        let found: Vec<sarif::Found> = shown
            .iter()
            .map(|fault| sarif::Found::of(fault, text_of(&fault.place.file).as_deref()))
            .collect();
        writeln!(out, "{:#}", sarif::log("check", place.prefix(), &found))?;
    } else if let (Format::Junit, Some(snapshot)) = (context.format, &snapshot) {
        write!(out, "{}", junit::document("bondline check", &suites(snapshot, &shown)))?;
    } else {
        let mut texts: BTreeMap<&str, Option<String>> = BTreeMap::new();
        for fault in &shown {
            let text = texts.entry(&fault.place.file).or_insert_with(|| {
                let text = text_of(&fault.place.file)?;
                Some(text.strip_prefix('\u{feff}').map(str::to_string).unwrap_or(text))
            });
            writeln!(out, "{}\n", render::fault(fault, text.as_deref(), context.colour, context.width))?;
        }
        writeln!(out, "{}", faults::text_summary(&all))?;
        let hidden = all.len() - shown.len();
        if hidden > 0 {
            let notes = if hidden == 1 { "1 note" } else { &format!("{hidden} notes") };
            writeln!(out, "{notes} not shown; `bondline check --notes` shows them")?;
        }
    }
    let is_faulty = all.iter().any(|fault| fault.level == Level::Error);
    Ok(if is_faulty { Status::Objection } else { Status::Done })
}

/// The faults of a state: those that were found before in the same files, or else found now and kept.
fn recalled(
    context: &Context,
    place: &Place,
    snapshot: &Snapshot,
    glanced: Glanced,
) -> Result<Vec<Fault>, Failure> {
    if !context.memory.is_allowed() {
        return Ok(found(context, place, snapshot)?.faults);
    }
    let mut stamps = to_the_end(context.memory.stamps(place));
    let identity = snapshot.identity(&mut stamps);
    context.memory.keep_stamps(place, &stamps);
    let Some(identity) = identity else { return Ok(found(context, place, snapshot)?.faults) };
    context.memory.keep_glance(place, glanced, &identity);
    let of_files = is_of_files(snapshot);
    if let Some(faults) = answered(context, place, &identity, of_files) {
        return Ok(faults);
    }
    let Some(asked) = asked(context, place, &identity, of_files) else {
        return Ok(found(context, place, snapshot)?.faults);
    };
    let found = found(context, place, snapshot)?;
    if let Some(value) = found.to_bytes() {
        let kept = Kept { key: asked.key, what: KEPT.to_string(), about: asked.about, value };
        let place = place.clone();
        let is_disk = *snapshot.origin() == Origin::WorkTree;
        context.memory.keep(
            &place.clone(),
            kept,
            // What was read while somebody wrote may be of neither state.
            Box::new(move || !is_disk || still_is(&place, &identity, ManuallyDrop::into_inner(stamps))),
        );
    }
    Ok(found.faults)
}

/// Whether a state is held against what is committed: one of the past is held against no later one.
fn is_of_files(snapshot: &Snapshot) -> bool {
    !matches!(snapshot.origin(), Origin::Revision { .. })
}

/// The faults that were found before in a state.
fn answered(context: &Context, place: &Place, identity: &str, of_files: bool) -> Option<Vec<Fault>> {
    let asked = asked(context, place, identity, of_files)?;
    let kept = context.memory.find(place, &asked.key).and_then(|bytes| Found::from_bytes(&bytes))?;
    let holds = kept.commits.iter().all(|(id, is)| place.has_commit(id) == *is);
    if holds {
        context.memory.work("faults found as before".to_string());
    }
    holds.then_some(kept.faults)
}

/// Names the question: the files, and where they are held against what is committed, that.
fn asked(context: &Context, place: &Place, identity: &str, of_files: bool) -> Option<Asked> {
    let head = if of_files { place.head_tree().ok()?.unwrap_or_default() } else { "none".to_string() };
    Some(context.asked(KEPT, &[("folder", place.prefix()), ("head", &head), ("state", identity)]))
}

/// Works out anew what a state is said to have, where it still is the state that was asked of: whether the same comes
/// of it. `None` where the state is gone.
pub(super) fn verified(
    context: &Context,
    place: &Place,
    about: &str,
    kept: &[u8],
) -> Result<Option<bool>, Failure> {
    let told: Value = serde_json::from_str(about).unwrap_or_default();
    let state = told.get("state").and_then(Value::as_str).unwrap_or_default();
    let snapshot = match state.split_once(' ') {
        Some(("tree", tree)) => place.revision(tree).ok(),
        Some(("index", _)) => place.index().ok(),
        _ => place.work_tree().ok(),
    };
    let Some(snapshot) = snapshot else { return Ok(None) };
    let same = snapshot
        .identity(&mut crate::source::Stamps::default())
        .filter(|identity| identity == state)
        .and_then(|identity| asked(context, place, &identity, is_of_files(&snapshot)));
    if same.is_none_or(|asked| asked.about != about) {
        return Ok(None);
    }
    let found = found(context, place, &snapshot)?;
    Ok(found.to_bytes().map(|bytes| bytes == kept))
}

/// What was found in a state, and what it follows from beside the files.
struct Found {
    faults: Vec<Fault>,
    /// Commits that decisions name, and whether they are here.
    commits: BTreeMap<String, bool>,
    /// Whether the same would be found wherever the same files and commits are.
    is_settled: bool,
}

/// The commits of a place, with a note of which were asked for.
pub(super) struct Watched<'a> {
    place: &'a Place,
    commits: Mutex<BTreeMap<String, bool>>,
    walked: AtomicBool,
}

impl<'a> Watched<'a> {
    pub(super) fn new(place: &'a Place) -> Self {
        Self { place, commits: Mutex::default(), walked: AtomicBool::new(false) }
    }

    /// Whether anything was asked for.
    pub(super) fn was_asked(self) -> bool {
        let Self { commits, walked, .. } = self;
        walked.into_inner() || !commits.into_inner().unwrap_or_else(PoisonError::into_inner).is_empty()
    }
}

impl Revisions for Watched<'_> {
    fn touching(&self, revision: &str, files: &[String]) -> Result<Vec<Commit>, SourceError> {
        self.walked.store(true, Ordering::Relaxed);
        self.place.touching(revision, files)
    }

    fn commit(&self, id: &str) -> Option<Snapshot> {
        let found = self.place.commit(id);
        let mut commits = self.commits.lock().unwrap_or_else(PoisonError::into_inner);
        commits.insert(id.to_string(), found.is_some());
        found
    }
}

fn found(context: &Context, place: &Place, snapshot: &Snapshot) -> Result<Found, Failure> {
    let mut loaded = to_the_end(context.read(snapshot.clone()));
    let watched = Watched::new(place);
    let past = Past { revisions: &watched, recall: context.recall() };
    let stale = unsaid(&loaded.ledger.faults, open_faults(&loaded.ledger, &loaded.snapshot, &past));
    if is_of_files(snapshot) {
        let altered = context.altered_decisions(place, &loaded)?;
        let altered = altered_faults(&altered, (&loaded.ledger, &loaded.snapshot));
        loaded.ledger.faults.extend(altered);
    }
    loaded.ledger.faults.extend(stale);
    let ahead = loaded.ledger.days_far_ahead(&loaded.snapshot, context.today);
    loaded.ledger.faults.extend(ahead);
    let Ledger { faults, .. } = &mut loaded.ledger;
    let faults = std::mem::take(faults);
    Ok(Found {
        // What can't be read today may be read tomorrow, and nothing of the files will have changed.
        is_settled: !snapshot.has_strayed()
            && !watched.walked.into_inner()
            && faults.iter().all(|fault| fault.rule != "unreadable"),
        faults,
        commits: watched.commits.into_inner().unwrap_or_else(PoisonError::into_inner),
    })
}

impl Found {
    /// The form that is kept; `None` where it follows from more than is asked by.
    fn to_bytes(&self) -> Option<Vec<u8>> {
        let known = |fault: &Fault| rules::rule(fault.rule).is_some();
        if !self.is_settled || !self.faults.iter().all(known) {
            return None;
        }
        let place = |place: &Stretch| {
            let span = place.span.map(|(from, to)| json!([from, to]));
            json!([place.file, place.line, place.column, span])
        };
        let faults: Vec<Value> = self
            .faults
            .iter()
            .map(|own| {
                let why: Vec<Value> =
                    own.why.iter().map(|why| json!([place(&why.place), why.label])).collect();
                let level = own.level.word();
                json!([own.rule, level, place(&own.place), own.message, own.label, own.help, why])
            })
            .collect();
        Some(json!({ "faults": faults, "commits": self.commits }).to_string().into_bytes())
    }

    fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let document: Value = serde_json::from_slice(bytes).ok()?;
        let commits: &Map<String, Value> = document.get("commits")?.as_object()?;
        let commits = commits.iter().map(|(id, is)| Some((id.clone(), is.as_bool()?)));
        let faults = document.get("faults")?.as_array()?.iter().map(fault);
        Some(Self {
            commits: commits.collect::<Option<_>>()?,
            faults: faults.collect::<Option<_>>()?,
            is_settled: true,
        })
    }
}

fn fault(value: &Value) -> Option<Fault> {
    let [rule, level, at, message, label, help, why] = value.as_array()?.as_slice() else { return None };
    let number = |value: &Value| value.as_u64().and_then(|value| usize::try_from(value).ok());
    let place = |value: &Value| {
        let [file, line, column, span] = value.as_array()?.as_slice() else { return None };
        let span = span.as_array().and_then(|span| Some((number(span.first()?)?, number(span.get(1)?)?)));
        Some(Stretch { file: file.as_str()?.to_string(), line: number(line), column: number(column), span })
    };
    let why = why.as_array()?.iter().map(|why| {
        let [at, label] = why.as_array()?.as_slice() else { return None };
        Some(Why { place: place(at)?, label: label.as_str()?.to_string() })
    });
    Some(Fault {
        rule: rules::rule(rule.as_str()?)?.name,
        level: [Level::Note, Level::Warning, Level::Error].into_iter().find(|own| level == own.word())?,
        place: place(at)?,
        message: message.as_str()?.to_string(),
        label: label.as_str()?.to_string(),
        help: help.as_str().map(str::to_string),
        why: why.collect::<Option<_>>()?,
    })
}

/// A case for each file that is read, a suite for each folder; an error fails its file, a warning does not.
fn suites(snapshot: &Snapshot, shown: &[&Fault]) -> Vec<(String, Vec<Case>)> {
    let mut files: BTreeMap<(String, String), Vec<&Fault>> = BTreeMap::new();
    let folder = |file: &str| file.split_once('/').map_or("ledger", |(folder, _)| folder).to_string();
    let is_record = |file: &str| {
        file == "ledger.yaml" || RecordKind::by_folder(&folder(file)).is_some() && file.ends_with(".yaml")
    };
    for file in snapshot.files().map(|entry| entry.path.as_str()).filter(|file| is_record(file)) {
        files.entry((folder(file), file.to_string())).or_default();
    }
    for fault in shown {
        let file = fault.place.file.clone();
        files.entry((folder(&file), file)).or_default().push(fault);
    }
    let mut suites: Vec<(String, Vec<Case>)> = Vec::new();
    for ((folder, file), faults) in files {
        let (errors, others): (Vec<&Fault>, Vec<&Fault>) =
            faults.into_iter().partition(|fault| fault.level == Level::Error);
        let words = |fault: &Fault| {
            let line = fault.place.line.map_or_else(String::new, |line| format!(" (line {line})"));
            let help = fault.help.as_ref().map_or_else(String::new, |help| format!("\nhelp: {help}"));
            format!("{}{line}{help}", fault.message)
        };
        let mut seen: BTreeMap<&str, usize> = BTreeMap::new();
        let mut cases: Vec<Case> = Vec::new();
        for fault in &errors {
            let count = seen.entry(fault.rule).or_default();
            *count += 1;
            let which = if *count > 1 { format!(" ({count})") } else { String::new() };
            cases.push(Case {
                class: folder.clone(),
                name: format!("{file}: {}{which}", fault.rule),
                file: Some(file.clone()),
                line: fault.place.line,
                failure: Some((fault.rule.to_string(), words(fault))),
                said: String::new(),
            });
        }
        let said = |fault: &&Fault| format!("{} [{}]: {}", fault.level, fault.rule, words(fault));
        let said = others.iter().map(said).collect::<Vec<_>>().join("\n");
        match cases.first_mut() {
            Some(first) => first.said = said,
            None => cases.push(Case {
                class: folder.clone(),
                name: file.clone(),
                file: Some(file),
                said,
                ..Case::default()
            }),
        }
        match suites.last_mut().filter(|(name, _)| *name == folder) {
            Some((_, own)) => own.append(&mut cases),
            None => suites.push((folder, cases)),
        }
    }
    suites
}

/// What carrying a decision out would leave, without what was said already of the very value that names it.
fn unsaid(known: &[Fault], stale: Vec<Fault>) -> Vec<Fault> {
    let named = |fault: &Fault| fault.message.split('`').nth(1).map(str::to_string);
    let said = |fault: &Fault| {
        known
            .iter()
            .filter(|own| own.rule == fault.rule && own.place.file == fault.place.file)
            .any(|own| named(own).is_some_and(|name| Some(name) == named(fault)))
    };
    stale.into_iter().filter(|fault| !said(fault)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::{Cli, Terminal};
    use clap::Parser;
    use std::path::Path;

    fn laid() -> tempfile::TempDir {
        let folder = tempfile::tempdir().unwrap();
        let lay = |path: &str, text: &str| {
            let path = folder.path().join(path);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, text).unwrap();
        };
        lay("ledger.yaml", "format: 1\nprogramme: Test (invented)\n");
        lay("processes/oven.yaml", "method: oven\nmade: up\n");
        for at in 0..30 {
            lay(&format!("materials/m{at}.yaml"), &format!("kind: part\nmass: {at} g\n"));
        }
        git2::Repository::init(folder.path()).unwrap();
        folder
    }

    /// Records parsed for an answer, and the answer.
    fn asked(folder: &Path) -> (usize, String) {
        let words = ["bondline", "-C", &folder.display().to_string(), "--today", "2026-06-01", "check"];
        let cli = Cli::parse_from(words);
        let mut context = Context::new(&cli.global, Terminal::default()).unwrap();
        let args = CheckArgs { source: crate::cli::args::Source::default(), notes: true };
        let mut out = Vec::new();
        run(&mut context, &args, &mut out).unwrap();
        let parsed = context.recall().counts().parsed;
        context.memory.later().carry_out();
        (parsed, String::from_utf8(out).unwrap())
    }

    #[test]
    fn what_was_found_in_the_same_files_is_not_looked_for_again() {
        let folder = laid();
        let first = asked(folder.path());
        assert_eq!(first.0, 32, "with ledger.yaml");
        assert!(first.1.contains("made"), "{}", first.1);
        assert_eq!(asked(folder.path()), (0, first.1.clone()));
        std::fs::write(folder.path().join("materials/m3.yaml"), "kind: part\nmass: 4\n").unwrap();
        let other = asked(folder.path());
        assert_eq!(other.0, 2, "what changed, and what has a fault");
        assert_ne!(other.1, first.1);
        std::fs::write(folder.path().join("materials/m3.yaml"), "kind: part\nmass: 3 g\n").unwrap();
        assert_eq!(asked(folder.path()), (0, first.1));
    }
}
