//! Reading a whole ledger: find, read, look up, judge.

use super::find::{self, Found, HEAD_FILE};
use super::known::{Firsts, Known, missing_help};
use super::read::{Readable, read_record, read_written, writes_down};
use super::recall::Work;
use super::sink::{Sink, settle};
use super::words::suggest;
use super::{
    Entry, Files, Ledger, Recall, Records, TestData, built, circles, conditions, data, design, exposure,
    head, imports, multitude, proof, serials, steering,
};
use crate::record::{
    Address, Evidence, Fault, LedgerHead, Level, Named, Place, ReadOutcome, RecordKind, Within, import_of,
};
use crate::source::RECORD_LIMIT;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::sync::Arc;

impl Ledger {
    /// Reads a ledger. It never fails: whatever is wrong stands in `faults`, and records that can't be used
    /// stand in `broken` and nowhere else.
    ///
    /// Records are read and judged on all cores; the answer does not depend on their number.
    pub fn load(files: &dyn Files, recall: &dyn Recall) -> Ledger {
        let mut ledger = Ledger::default();
        let (found, mut sinks, unread) = find::records(files);
        ledger.broken.extend(unread);
        read_head(files, recall, &mut ledger, &mut sinks);
        ledger.imports = files.imports();
        ledger.ignored = files.ignored();
        let sink = imports::faults(files, &mut ledger.imports);
        if sink.has_errors() {
            ledger.broken.insert(Address::ledger());
        }
        sinks.push(sink);
        let withins: BTreeMap<&str, &Arc<Within>> = ledger
            .imports
            .iter()
            .filter_map(|own| Some((own.name.as_str(), &own.outcome.as_ref().ok()?.within)))
            .collect();
        // Of an import that can't be read nothing but that is said.
        let found: Vec<Found> = found
            .into_iter()
            .filter(|own| import_of(&own.file).is_none_or(|import| withins.contains_key(import)))
            .collect();
        let mut reading = Reading {
            files,
            recall,
            found: &found,
            withins: &withins,
            faults: Vec::new(),
            named: Vec::new(),
            broken: Vec::new(),
        };
        ledger.materials = reading.records(RecordKind::Material);
        ledger.processes = reading.records(RecordKind::Process);
        ledger.tools = reading.records(RecordKind::Tool);
        ledger.finishes = reading.records(RecordKind::Finish);
        ledger.recipes = reading.records(RecordKind::Recipe);
        ledger.panels = reading.records(RecordKind::Panel);
        ledger.assemblies = reading.records(RecordKind::Assembly);
        ledger.showings = reading.records(RecordKind::Showing);
        ledger.evidence = reading.records(RecordKind::Evidence);
        ledger.decisions = reading.records(RecordKind::Decision);
        ledger.concessions = reading.records(RecordKind::Concession);
        ledger.weighings = reading.records(RecordKind::Weighing);
        ledger.studies = reading.records(RecordKind::Study);
        let Reading { faults, broken, named, .. } = reading;
        ledger.faults.extend(faults);
        ledger.broken.extend(broken);
        // A text with other faults was never judged as a record; what it names can still be missing.
        let (ids, others): (Vec<Named>, Vec<Named>) = named.into_iter().partition(|named| named.is_id);
        let missing: Vec<Fault> = ids.iter().filter_map(|named| ledger.unknown(named)).collect();
        ledger.faults.extend(missing);
        others.iter().for_each(|named| ledger.meant(named));
        sinks.push(imports::leave_out(&mut ledger));
        let judged = judge(&ledger, files, recall);
        ledger.data = judged.data;
        let mut broken = judged.broken;
        sinks.extend(judged.sinks);
        let apart = data::shared_batches(&ledger).into_iter().chain(conditions::across(&ledger));
        for (address, sink) in apart {
            broken.push(address);
            sinks.push(sink);
        }
        for (members, sink) in circles::all(&ledger) {
            broken.extend(members);
            sinks.push(sink);
        }
        ledger.drop_all(broken);
        for (address, sink) in multitude::all(&ledger) {
            ledger.drop_all(vec![address]);
            sinks.push(sink);
        }
        sinks.extend(head::groups(&ledger));
        sinks.extend(exposure::words(&ledger));
        sinks.extend(serials::weighed(&ledger));
        sinks.push(imports::behind(&ledger));
        ledger.faults.extend(settle(files, sinks));
        // What another ledger is only warned of is for its own people to mend.
        ledger.faults.retain(|fault| fault.level == Level::Error || import_of(&fault.place.file).is_none());
        // What a record that is broken lacks can't be told from what a study is wrong about.
        if ledger.has_errors() {
            ledger.faults.retain(|fault| fault.rule != "stale-study");
        }
        ledger.faults.sort_by(|a, b| {
            let key =
                |fault: &Fault| (fault.place.line, fault.rule, fault.place.column, fault.message.clone());
            a.place.file.cmp(&b.place.file).then_with(|| key(a).cmp(&key(b)))
        });
        ledger
    }

    /// Says so where a text names a record that there is none of.
    fn unknown(&self, named: &Named) -> Option<Fault> {
        let (kind, id) = (named.kind, named.id.as_str());
        let address = Address::new(kind, id);
        if self.file_of(&address).is_some() || self.broken.contains(&address) || self.is_of_lost_import(id) {
            return None;
        }
        let help = missing_help(self, kind, id, self.ids(kind).into_iter());
        let fault =
            Fault::error("unknown-reference", named.place.clone(), format!("there is no {kind} `{id}`"));
        Some(fault.labelled(format!("unknown {kind}")).help(help))
    }

    /// Says which record is meant where what is written is no id: one that there is, if broken, not merely one
    /// that could be.
    fn meant(&mut self, named: &Named) {
        let mut ids = self.ids(named.kind);
        ids.extend(self.broken.iter().filter(|one| one.kind() == named.kind).map(Address::id));
        if named.id.is_empty() {
            return;
        }
        let near = match ids.iter().find(|id| **id == named.id) {
            Some(same) => Some(format!("did you mean `{same}`?")),
            None => suggest(&named.id, ids.into_iter()).filter(|help| help.ends_with('?')),
        };
        let own = |fault: &&mut Fault| fault.rule == "bad-reference" && fault.place == named.place;
        if let (Some(near), Some(fault)) = (near, self.faults.iter_mut().find(own)) {
            let rule = fault.help.take().unwrap_or_default();
            fault.help = Some(format!("{near} {rule}"));
        }
    }

    /// Returns the addresses of all records, but that of `ledger.yaml`.
    pub fn addresses(&self) -> Vec<Address> {
        let kinds = RecordKind::ALL.iter().filter(|kind| **kind != RecordKind::Ledger);
        kinds.flat_map(|kind| self.ids(*kind).into_iter().map(|id| Address::new(*kind, id))).collect()
    }

    pub(crate) fn ids(&self, kind: RecordKind) -> Vec<&str> {
        fn keys<T>(records: &Records<T>) -> Vec<&str> {
            records.keys().map(String::as_str).collect()
        }
        match kind {
            RecordKind::Ledger => Vec::new(),
            RecordKind::Material => keys(&self.materials),
            RecordKind::Process => keys(&self.processes),
            RecordKind::Tool => keys(&self.tools),
            RecordKind::Finish => keys(&self.finishes),
            RecordKind::Recipe => keys(&self.recipes),
            RecordKind::Panel => keys(&self.panels),
            RecordKind::Assembly => keys(&self.assemblies),
            RecordKind::Showing => keys(&self.showings),
            RecordKind::Evidence => keys(&self.evidence),
            RecordKind::Decision => keys(&self.decisions),
            RecordKind::Concession => keys(&self.concessions),
            RecordKind::Weighing => keys(&self.weighings),
            RecordKind::Study => keys(&self.studies),
        }
    }

    /// Leaves broken records out and names them.
    fn drop_all(&mut self, broken: Vec<Address>) {
        for address in broken {
            let id = address.id();
            match address.kind() {
                RecordKind::Ledger => self.head = None,
                RecordKind::Material => drop(self.materials.remove(id)),
                RecordKind::Process => drop(self.processes.remove(id)),
                RecordKind::Tool => drop(self.tools.remove(id)),
                RecordKind::Finish => drop(self.finishes.remove(id)),
                RecordKind::Recipe => drop(self.recipes.remove(id)),
                RecordKind::Panel => drop(self.panels.remove(id)),
                RecordKind::Assembly => drop(self.assemblies.remove(id)),
                RecordKind::Showing => drop(self.showings.remove(id)),
                RecordKind::Evidence => {
                    self.data.remove(id);
                    self.evidence.remove(id);
                }
                RecordKind::Decision => drop(self.decisions.remove(id)),
                RecordKind::Concession => drop(self.concessions.remove(id)),
                RecordKind::Weighing => drop(self.weighings.remove(id)),
                RecordKind::Study => drop(self.studies.remove(id)),
            }
            self.broken.insert(address);
        }
    }

    /// Returns why nothing may be written into the ledger: it is of a format that this program does not know, and
    /// what it would write might mean something else there.
    pub fn unknown_format(&self) -> Option<&Fault> {
        let of_head = |fault: &&Fault| fault.place.file == HEAD_FILE && fault.level == Level::Error;
        let is_one = |fault: &&Fault| {
            matches!(fault.rule, "format-newer" | "format-unknown") || fault.message.starts_with("`format`")
        };
        self.faults.iter().filter(of_head).find(is_one)
    }

    /// Returns whether any fault is an error.
    pub fn has_errors(&self) -> bool {
        self.faults.iter().any(|fault| fault.level == Level::Error)
    }
}

fn read_head(files: &dyn Files, recall: &dyn Recall, ledger: &mut Ledger, sinks: &mut Vec<Sink>) {
    let bytes = match files.read(HEAD_FILE, RECORD_LIMIT) {
        Ok(bytes) => bytes,
        Err(why) => {
            sinks.push(head::missing(&why));
            ledger.broken.insert(Address::ledger());
            return;
        }
    };
    let (value, mut faults, _) = read_one::<LedgerHead>(files, recall, RecordKind::Ledger, HEAD_FILE, None);
    head::number_it(&mut faults);
    let sink = match value {
        Some(value) => {
            ledger.faults.extend(faults);
            ledger.head = Some((*value).clone());
            Some(head::check(&value))
        }
        None => {
            let newer = head::newer(&bytes);
            if newer.is_none() {
                ledger.faults.extend(faults);
            }
            newer
        }
    };
    if sink.as_ref().is_none_or(Sink::has_errors) {
        ledger.head = None;
        ledger.broken.insert(Address::ledger());
    }
    sinks.extend(sink);
}

/// A record, unless it can't be used, and the faults in its text.
type WasRead<T> = (Option<Arc<T>>, Vec<Fault>, Vec<Named>);

fn read_one<T: Readable>(
    files: &dyn Files,
    recall: &dyn Recall,
    kind: RecordKind,
    file: &str,
    within: Option<&Arc<Within>>,
) -> WasRead<T> {
    // The same bytes name other records where they are read as those of an import.
    let as_read = |blob: String| match within {
        Some(within) => format!("{blob} {within:?}"),
        None => blob,
    };
    let known = files.blob_id(file).map(as_read);
    if let Some(value) = known.as_deref().and_then(|blob| remembered(recall, kind, blob)) {
        return (Some(value), Vec::new(), Vec::new());
    }
    let bytes = match files.read(file, RECORD_LIMIT) {
        Ok(bytes) => bytes,
        Err(why) => {
            let message = format!("`{file}` can't be read: {why}");
            let fault = Fault::error("unreadable", Place::file(file), message);
            let help = format!(
                "a record is a plain file of at most {RECORD_LIMIT} bytes; test data stands in a CSV file that `data:` names"
            );
            return (None, vec![fault.help(help)], Vec::new());
        }
    };
    // By the bytes that were read, and not by those that were there when the files were listed.
    let blob =
        if recall.keeps() { files.blob_of(&bytes).map(as_read).or_else(|| known.clone()) } else { None };
    if let Some(value) =
        blob.as_deref().filter(|_| blob != known).and_then(|blob| remembered(recall, kind, blob))
    {
        return (Some(value), Vec::new(), Vec::new());
    }
    recall.count(Work::Parsed);
    let ReadOutcome { mut value, faults, named } = match within {
        Some(within) => within.reading(|| read_record::<T>(file, &bytes)),
        None => read_record::<T>(file, &bytes),
    };
    let any = value.as_mut().map(|value| value as &mut dyn std::any::Any);
    if let (Some(within), Some(evidence)) = (within, any.and_then(|any| any.downcast_mut::<Evidence>())) {
        within.label(&mut evidence.subject);
    }
    let value: Option<Arc<T>> = value.map(Arc::new);
    if let (Some(blob), Some(value), true) = (blob, &value, faults.is_empty()) {
        recall.keep(&blob, kind.word(), Arc::<T>::clone(value));
        // What another ledger has is named otherwise there.
        if within.is_none() && recall.writes() {
            recall.write(&blob, kind.word(), writes_down(value));
        }
    }
    (value, faults, named)
}

/// What was read from a blob before, in this run or an earlier one.
fn remembered<T: Readable>(recall: &dyn Recall, kind: RecordKind, blob: &str) -> Option<Arc<T>> {
    let kept = recall.find(blob, kind.word()).and_then(|kept| kept.downcast::<T>().ok());
    let value = kept.or_else(|| {
        let value = Arc::new(read_written::<T>(recall.written(blob, kind.word())?.bytes())?);
        recall.keep(blob, kind.word(), Arc::<T>::clone(&value));
        Some(value)
    })?;
    recall.count(Work::Spared);
    Some(value)
}

/// Reads records kind by kind and gathers what can't be used.
struct Reading<'a> {
    files: &'a dyn Files,
    recall: &'a dyn Recall,
    found: &'a [Found],
    /// As what records of imports are read.
    withins: &'a BTreeMap<&'a str, &'a Arc<Within>>,
    faults: Vec<Fault>,
    named: Vec<Named>,
    broken: Vec<Address>,
}

impl Reading<'_> {
    fn records<T: Readable>(&mut self, kind: RecordKind) -> Records<T> {
        let (files, recall, withins) = (self.files, self.recall, self.withins);
        let read: Vec<(&Found, WasRead<T>)> = self
            .found
            .par_iter()
            .filter(|found| found.kind == kind)
            .map(|found| {
                let within = import_of(&found.file).and_then(|import| withins.get(import)).copied();
                (found, read_one::<T>(files, recall, kind, &found.file, within))
            })
            .collect();
        let mut records = Records::new();
        for (found, (value, faults, named)) in read {
            self.faults.extend(faults);
            self.named.extend(named);
            match value {
                Some(value) if found.usable => {
                    let entry = Entry { id: found.id.clone(), file: found.file.clone(), value };
                    records.insert(found.id.clone(), entry);
                }
                _ => self.broken.push(Address::new(kind, found.id.clone())),
            }
        }
        records
    }
}

/// What came of looking at each record.
#[derive(Default)]
struct Judged {
    sinks: Vec<Sink>,
    broken: Vec<Address>,
    data: std::collections::BTreeMap<String, TestData>,
}

impl Judged {
    fn sweep<T: Send + Sync>(
        &mut self,
        known: Known<'_>,
        kind: RecordKind,
        records: &Records<T>,
        check: impl Fn(Known<'_>, &mut Sink, &Entry<T>) + Sync,
    ) {
        let looked: Vec<(&String, Sink)> = records
            .par_iter()
            .map(|(id, entry)| {
                let mut sink = Sink::new(&entry.file);
                check(known, &mut sink, entry);
                (id, sink)
            })
            .collect();
        for (id, sink) in looked {
            if sink.has_errors() {
                self.broken.push(Address::new(kind, id.clone()));
            }
            self.sinks.push(sink);
        }
    }
}

fn judge(ledger: &Ledger, files: &dyn Files, recall: &dyn Recall) -> Judged {
    let firsts = Firsts::of(ledger);
    let known = Known { ledger, firsts: &firsts };
    let mut judged = Judged::default();
    judged.sweep(known, RecordKind::Material, &ledger.materials, design::material);
    judged.sweep(known, RecordKind::Process, &ledger.processes, design::process);
    judged.sweep(known, RecordKind::Tool, &ledger.tools, design::tool);
    judged.sweep(known, RecordKind::Finish, &ledger.finishes, design::finish);
    judged.sweep(known, RecordKind::Recipe, &ledger.recipes, design::recipe);
    judged.sweep(known, RecordKind::Panel, &ledger.panels, built::panel);
    judged.sweep(known, RecordKind::Assembly, &ledger.assemblies, built::assembly);
    judged.sweep(known, RecordKind::Showing, &ledger.showings, proof::showing);
    judged.sweep(known, RecordKind::Evidence, &ledger.evidence, proof::evidence);
    judged.sweep(known, RecordKind::Decision, &ledger.decisions, steering::decision);
    judged.sweep(known, RecordKind::Concession, &ledger.concessions, proof::concession);
    judged.sweep(known, RecordKind::Weighing, &ledger.weighings, built::weighing);
    judged.sweep(known, RecordKind::Study, &ledger.studies, steering::study);
    let tables: Vec<(&String, Sink, Option<TestData>)> = ledger
        .evidence
        .par_iter()
        .map(|(id, entry)| {
            let mut sink = Sink::new(&entry.file);
            let data = data::read(known, files, recall, &mut sink, entry);
            (id, sink, data)
        })
        .collect();
    for (id, sink, data) in tables {
        if sink.has_errors() {
            judged.broken.push(Address::new(RecordKind::Evidence, id.clone()));
        }
        judged.sinks.push(sink);
        if let Some(data) = data {
            judged.data.insert(id.clone(), data);
        }
    }
    judged
}
