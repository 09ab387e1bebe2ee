//! Texts that nobody would write, made from those that somebody did: nothing that is read may end in a panic, and
//! what is accepted has to mean the same when it is read again.
//!
//! Each target runs for `BONDLINE_FUZZ_SECONDS` (3 where nothing is said), and longer by hand:
//! `BONDLINE_FUZZ_SECONDS=3600 cargo test --release --test main fuzz:: -- --nocapture --test-threads=1`.
//! `BONDLINE_FUZZ_SEED` begins elsewhere; a failure prints the input, and `BONDLINE_FUZZ_SLOWEST=1` what took longest.

mod mutate;

use crate::support::{files, root};
use bondline::article::weigh::programme_mass;
use bondline::change::decide::overlay;
use bondline::change::diff::diff;
use bondline::ledger::{Ledger, MemoryRecall, read_specimens};
use bondline::qualify::verdict::{Evaluation, evaluate, evaluate_beside};
use bondline::quantity::{Kind, Quantity};
use bondline::record::{Address, Day, Decision, edit, places, read, render};
use bondline::source::Snapshot;
use mutate::Mutator;
use std::collections::BTreeMap;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

fn number(name: &str) -> Option<u64> {
    std::env::var(name).ok()?.parse().ok()
}

/// Hands mutated inputs to `one` until the time is over, and as many as it takes to be worth the name.
fn fuzz(target: &str, corpus: &[Vec<u8>], one: impl Fn(&[u8])) {
    const LEAST: u64 = 50;
    assert!(!corpus.is_empty(), "{target} has nothing to begin with");
    let time = Duration::from_secs(number("BONDLINE_FUZZ_SECONDS").unwrap_or(3));
    let mut mutator = Mutator::new(number("BONDLINE_FUZZ_SEED").unwrap_or(1));
    let begun = Instant::now();
    let (mut inputs, mut slowest, mut worst) = (0_u64, Duration::ZERO, Vec::new());
    while inputs < LEAST || begun.elapsed() < time {
        let input = mutator.of(corpus);
        let at = Instant::now();
        let ended = catch_unwind(AssertUnwindSafe(|| one(&input)));
        if at.elapsed() > slowest {
            slowest = at.elapsed();
            worst.clone_from(&input);
        }
        inputs += 1;
        if ended.is_err() {
            panic!("{target}: input {inputs} panics, {} bytes:\n{}", input.len(), input.escape_ascii());
        }
    }
    println!(
        "{target}: {inputs} inputs in {:.1} s, the slowest {slowest:.1?}",
        begun.elapsed().as_secs_f64()
    );
}

fn today() -> Day {
    Day::parse("2026-06-01").unwrap()
}

/// The files of the example, by path.
fn example() -> BTreeMap<String, Vec<u8>> {
    let top = root().join("example-project");
    let read =
        |file: &String| (file.ends_with(".yaml") || file.ends_with(".csv")) && !file.starts_with("history/");
    let all = files(&top).into_iter().filter(read);
    all.map(|file| (file.clone(), std::fs::read(top.join(file)).unwrap())).collect()
}

/// The example in memory, judged: what a mutated file is laid over.
struct Bed {
    files: BTreeMap<String, Vec<u8>>,
    snapshot: Snapshot,
    ledger: Ledger,
    evaluation: Evaluation,
    recall: MemoryRecall,
}

impl Bed {
    fn new() -> Self {
        let files = example();
        let recall = MemoryRecall::new();
        let snapshot = Snapshot::in_memory(files.clone());
        let ledger = Ledger::load(&snapshot, &recall).as_of(today());
        let evaluation = evaluate(&ledger, today()).unwrap();
        Self { files, snapshot, ledger, evaluation, recall }
    }

    /// Reads and judges the example with some of its files otherwise, and draws every fault.
    fn judge(&self, texts: BTreeMap<String, Option<Vec<u8>>>) {
        let snapshot = self.snapshot.overlay(texts.clone());
        let ledger = Ledger::load(&snapshot, &self.recall).as_of(today());
        for fault in &ledger.faults {
            let text = texts.get(&fault.place.file).cloned().flatten();
            let text = text.and_then(|bytes| String::from_utf8(bytes).ok());
            let drawn = render::fault(fault, text.as_deref(), false, 80);
            assert!(drawn.contains(fault.rule), "{drawn}");
            let lines = text.as_deref().map(|text| text.lines().count());
            assert!(fault.place.line.zip(lines).is_none_or(|(line, lines)| line <= lines + 1), "{fault:?}");
        }
        // What is broken may leave no mass and no verdict; a figure that is none is no answer.
        if let Ok(kg) = programme_mass(&ledger) {
            assert!(kg.is_finite(), "{kg}");
        }
        let _ = evaluate_beside(&ledger, today(), &self.evaluation);
        let _ = diff(&self.ledger, &ledger);
    }
}

#[test]
fn records() {
    let bed = Bed::new();
    // The file stands before its text, so that each text is read as what it was made from.
    let corpus: Vec<Vec<u8>> = bed
        .files
        .iter()
        .filter(|(file, _)| file.ends_with(".yaml"))
        .map(|(file, bytes)| [file.as_bytes(), b"\0", bytes].concat())
        .collect();
    fuzz("records", &corpus, |input| {
        let Some(at) = input.iter().position(|byte| *byte == 0) else { return };
        let (file, text) = (String::from_utf8_lossy(&input[..at]).into_owned(), &input[at + 1..]);
        // A mutated name lies where none of the example does, or is that of another.
        let file = if bed.files.contains_key(&file) { file } else { "recipes/fuzz.yaml".to_string() };
        bed.judge(BTreeMap::from([(file, Some(text.to_vec()))]));
    });
}

#[test]
fn data() {
    let corpus: Vec<Vec<u8>> =
        example().into_iter().filter(|(file, _)| file.ends_with(".csv")).map(|(_, bytes)| bytes).collect();
    fuzz("data", &corpus, |input| match read_specimens("fuzz.csv", input) {
        Ok(data) => {
            assert!(data.rows.iter().all(|row| row.rejected.is_some() || row.value.is_finite()));
        }
        Err(faults) => {
            assert!(!faults.is_empty());
            for fault in &faults {
                let _ = render::fault(fault, std::str::from_utf8(input).ok(), true, 60);
            }
        }
    });
}

#[test]
fn quantities() {
    let corpus: Vec<Vec<u8>> = [
        "38 % +/- 2 %",
        "120 um",
        "1 240 kg/m3",
        "1.2e3 g/m2",
        "-55 degC",
        "10 mm (8 to 12 mm)",
        "5 to 7 mm",
        "2 h",
        "90 min",
        "1e-3 1/K",
        "43 degC +/- 3 K",
        "58.5 GPa",
        "60 N/mm",
        "1/16 in",
        "0.5",
        "12 EUR/kg",
    ]
    .iter()
    .map(|text| text.as_bytes().to_vec())
    .collect();
    fuzz("quantities", &corpus, |input| {
        let Ok(text) = std::str::from_utf8(input) else { return };
        for kind in Kind::ALL.into_iter().chain([Kind::TemperatureDifference, Kind::Ratio]) {
            match Quantity::parse(kind, text) {
                Ok(found) => {
                    let (low, si, high) = (found.low_si(), found.si(), found.high_si());
                    assert!(low.is_finite() && low <= si && si <= high && high.is_finite(), "{text:?}");
                    assert_eq!(Quantity::parse(kind, found.text()).as_ref(), Ok(&found), "{text:?}");
                }
                Err(fault) => assert!(!fault.to_string().is_empty()),
            }
        }
    });
}

#[test]
fn addresses_and_places() {
    let texts: Vec<String> =
        example().into_values().filter_map(|bytes| String::from_utf8(bytes).ok()).take(40).collect();
    let indices: Vec<_> = texts.iter().map(|text| places(text)).collect();
    let corpus: Vec<Vec<u8>> = [
        "recipe/hatch-outer#layers.6.thickness",
        "material/cw-200-e1#resin.content",
        "panel/bow-hatch#zones.outer.area",
        "ledger#budgets.closures",
        "finish/white#coats.4.dry_film",
        "evidence/e-001",
        "decision/dd-003",
        "layers.p2.angle",
    ]
    .iter()
    .map(|text| text.as_bytes().to_vec())
    .collect();
    fuzz("addresses", &corpus, |input| {
        let text = String::from_utf8_lossy(input);
        if let Some(address) = Address::parse(&text) {
            assert_eq!(Address::parse(&address.to_string()), Some(address.clone()), "{text:?}");
        }
        let route = text.split_once('#').map_or(&*text, |(_, route)| route);
        for (index, text) in indices.iter().zip(&texts) {
            if let Some(found) = index.find(route) {
                let place = found.place("fuzz.yaml");
                assert!(place.line.is_none_or(|line| line <= text.lines().count() + 1), "{route:?}");
            }
            let _ = (index.nearest(route), index.numbered_route(route));
        }
    });
}

#[test]
fn changes_of_decisions() {
    let bed = Bed::new();
    let corpus: Vec<Vec<u8>> = bed
        .files
        .iter()
        .filter(|(file, _)| file.starts_with("decisions/"))
        .map(|(_, bytes)| bytes.clone())
        .chain([
            &b"status: draft\nchanges:\n  - {set: recipe/hatch-outer#layers.6.thickness, was: 6 mm, to: 5 mm}\n"[..],
            b"status: draft\nchanges:\n  - {insert: recipe/hatch-outer#layers, after: 3, entry: {material: film-150}}\n",
            b"status: draft\nchanges:\n  - {remove: finish/white#coats.6}\n  - {drop: material/mesh-73}\n",
            b"status: draft\nchanges:\n  - {add: material/new-foam, record: {kind: core, density: 60 kg/m3}}\n",
        ]
        .map(<[u8]>::to_vec))
        .collect();
    fuzz("changes", &corpus, |input| {
        let Some(decision) = read::<Decision>("decisions/dd-099-fuzz.yaml", input).value else { return };
        let Ok(texts) = overlay(&bed.ledger, &bed.snapshot, &[&decision]) else { return };
        for (file, bytes) in &texts {
            // What a decision leaves is text that is read again, whatever it then says.
            let text = bytes.as_deref().map(|bytes| std::str::from_utf8(bytes).unwrap());
            if let Some(text) = text {
                serde_yaml::from_str::<serde_yaml::Value>(text)
                    .unwrap_or_else(|error| panic!("{file}: {error}\n{text}"));
            }
        }
        bed.judge(texts);
    });
}

#[test]
fn edits() {
    let corpus: Vec<Vec<u8>> = example().into_values().take(120).collect();
    let value: serde_yaml::Value = serde_yaml::from_str("{material: film-150, angle: 45}").unwrap();
    fuzz("edits", &corpus, |input| {
        let Ok(text) = std::str::from_utf8(input) else { return };
        let is_yaml = serde_yaml::from_str::<serde_yaml::Value>(text).is_ok();
        for route in ["layers.1", "layers.2.material", "title", "coats.1.dry_film", "zones.1.area", "a.b.c"] {
            for edited in [
                edit::set(text, route, &value),
                edit::remove(text, route),
                edit::insert(text, route.split('.').next().unwrap_or(route), 1, &value),
                edit::add_key(text, route, "notes", &value),
            ]
            .into_iter()
            .flatten()
            {
                assert!(is_yaml, "an edit of what is no YAML");
                serde_yaml::from_str::<serde_yaml::Value>(&edited)
                    .unwrap_or_else(|error| panic!("{route}: {error}\n{edited}"));
            }
        }
    });
}
