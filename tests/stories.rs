//! The worked stories: a change of the invented example, and the whole of what it does to what must be shown.
//!
//! A story is a file in `tests/stories/`; `tests/stories/README.md` says how to write one. It needs no code.
//! Two things are held for each step: every duty that the story does not name is as it was, on every panel,
//! found by comparing the evaluations here; and `impact` reports the same duties.

use crate::support::{files, root};
use bondline::article::Subject;
use bondline::change::decide::overlay;
use bondline::change::impact::{Impact, impact_of};
use bondline::ledger::{Ledger, MemoryRecall};
use bondline::qualify::judge::{Detail, Reason};
use bondline::qualify::verdict::{Duty, DutyKey, Evaluation, evaluate_with};
use bondline::record::sensitivity::Asks;
use bondline::record::{Day, Level};
use bondline::source::Snapshot;
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;

type Texts = BTreeMap<String, Vec<u8>>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Story {
    #[allow(dead_code, reason = "for the reader")]
    title: String,
    /// The step of the example's history that it starts from; the last where none is named.
    from: Option<String>,
    /// What the rules were first misread to say.
    #[serde(default)]
    #[allow(dead_code, reason = "for the reader")]
    misread: Vec<String>,
    steps: Vec<Step>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Step {
    #[allow(dead_code, reason = "for the reader")]
    say: String,
    /// As in a decision.
    #[serde(default)]
    changes: Vec<serde_yaml::Value>,
    /// A decision of the example.
    decision: Option<String>,
    #[serde(default)]
    texts: Vec<Text>,
    #[serde(default)]
    renames: Vec<Rename>,
    expect: Expect,
}

/// Text that stands once in a file, and what takes its place.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Text {
    file: String,
    old: String,
    new: String,
}

/// A record's file that gets another name, and its name wherever records (evidence aside) use it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Rename {
    file: String,
    to: String,
    /// Labels of conformed evidence stay as they were.
    #[serde(default)]
    labels_stay: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Expect {
    /// Difference of the programme's mass in kg, to the gram.
    mass_kg: f64,
    /// Moments about the hinge that move, in kg m to a thousandth, and whether they stay within their limit.
    #[serde(default)]
    balance: BTreeMap<String, (f64, f64, bool)>,
    /// Released panels that are no longer covered.
    #[serde(default)]
    grounded: Vec<String>,
    #[serde(default)]
    duties: Vec<Group>,
    /// `SHOWING | SUBJECT | VERDICT`: no longer asked.
    #[serde(default)]
    ended: Vec<Group>,
    /// `SHOWING | SUBJECT | PANEL | WAS -> NOW`: a panel's own verdict moves and the duty's does not.
    #[serde(default)]
    panels_alone: Vec<Group>,
    /// Subjects that another takes the place of without a verdict that moves, old to new.
    #[serde(default)]
    replaced: BTreeMap<String, String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Group {
    #[allow(dead_code, reason = "for the reader")]
    because: String,
    /// Attributes that each of them names as a reason.
    #[serde(default)]
    names: Vec<String>,
    /// `SHOWING | SUBJECT | WAS -> NOW | PANELS`.
    lines: Vec<String>,
}

fn lines(groups: &[Group]) -> BTreeSet<String> {
    let all: Vec<String> =
        groups.iter().flat_map(|group| group.lines.iter().map(|line| plain(line))).collect();
    let set: BTreeSet<String> = all.iter().cloned().collect();
    assert_eq!(set.len(), all.len(), "a line stands twice");
    set
}

fn plain(line: &str) -> String {
    line.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The example as it was behind a step of its history.
fn behind(step: Option<&str>) -> Texts {
    let history = root().join("example-project/history");
    let mut steps: Vec<_> = fs::read_dir(&history).unwrap().map(|step| step.unwrap().path()).collect();
    steps.sort();
    let name = |path: &std::path::Path| path.file_name().unwrap().to_string_lossy().into_owned();
    assert!(step.is_none_or(|step| steps.iter().any(|path| name(path) == step)), "no step {step:?}");
    let mut texts = Texts::new();
    for path in steps {
        let about: serde_yaml::Value =
            serde_yaml::from_slice(&fs::read(path.join("step.yaml")).unwrap()).unwrap();
        for file in files(&path).into_iter().filter(|file| file != "step.yaml") {
            texts.insert(file.clone(), fs::read(path.join(&file)).unwrap());
        }
        for file in about.get("removed").and_then(serde_yaml::Value::as_sequence).into_iter().flatten() {
            texts.remove(file.as_str().unwrap()).unwrap();
        }
        if step == Some(name(&path).as_str()) {
            break;
        }
    }
    texts
}

fn load(texts: &Texts, recall: &MemoryRecall) -> Ledger {
    let ledger = Ledger::load(&Snapshot::in_memory(texts.clone()), recall);
    let faults: Vec<_> = ledger.faults.iter().filter(|fault| fault.level >= Level::Error).collect();
    assert!(faults.is_empty(), "{faults:#?}");
    ledger
}

impl Step {
    fn lay(&self, texts: &mut Texts, recall: &MemoryRecall) {
        if !self.changes.is_empty() || self.decision.is_some() {
            // Laid as the program lays a proposal, so that a `was` which does not stand there is told.
            const OWN: &str = "decisions/dd-999-story.yaml";
            let mut with = texts.clone();
            let own = serde_yaml::to_string(&BTreeMap::from([
                ("title", serde_yaml::Value::from("story")),
                ("status", serde_yaml::Value::from("draft")),
                ("raised", serde_yaml::Value::from("2026-01-01")),
                ("why", serde_yaml::Value::from("story")),
                ("changes", serde_yaml::Value::Sequence(self.changes.clone())),
            ]));
            if !self.changes.is_empty() {
                with.insert(OWN.to_string(), own.unwrap().into_bytes());
            }
            let (snapshot, ledger) = (Snapshot::in_memory(with.clone()), load(&with, recall));
            let named = self.decision.iter().map(String::as_str);
            let own = (!self.changes.is_empty()).then_some("dd-999-story");
            for id in named.chain(own) {
                let decision = ledger.decisions.get(id).unwrap_or_else(|| panic!("no decision {id}"));
                for (file, text) in overlay(&ledger, &snapshot, &[&decision.value]).unwrap() {
                    match text {
                        Some(text) => texts.insert(file, text),
                        None => texts.remove(&file),
                    };
                }
            }
        }
        for Text { file, old, new } in &self.texts {
            let text =
                String::from_utf8(texts.get(file).unwrap_or_else(|| panic!("no {file}")).clone()).unwrap();
            assert_eq!(text.matches(old.as_str()).count(), 1, "{file} must hold `{old}` once");
            texts.insert(file.clone(), text.replace(old.as_str(), new).into_bytes());
        }
        for rename in &self.renames {
            rename.lay(texts);
        }
    }
}

impl Rename {
    fn lay(&self, texts: &mut Texts) {
        let (folder, old) = self.file.split_once('/').unwrap();
        let old = old.trim_end_matches(".yaml");
        let text = texts.remove(&self.file).unwrap_or_else(|| panic!("no {}", self.file));
        let own = format!("{folder}/{}.yaml", self.to);
        texts.insert(own.clone(), text);
        for (file, bytes) in texts.iter_mut() {
            // Its own words, a designation among them, stay.
            if !file.ends_with(".yaml") || *file == own {
                continue;
            }
            let text = String::from_utf8(bytes.clone()).unwrap();
            // What an article was made of is no name of a record.
            let (head, conformed) = match text.find("\nconformed:") {
                Some(_) if self.labels_stay => continue,
                Some(at) => text.split_at(at),
                None => (text.as_str(), ""),
            };
            *bytes = format!("{}{conformed}", renamed(head, old, &self.to)).into_bytes();
        }
    }
}

/// The text with a whole name replaced, in its values and not in comments or words of a title.
fn renamed(text: &str, old: &str, new: &str) -> String {
    let part = |c: char| c.is_ascii_alphanumeric() || c == '-';
    let mut out = String::new();
    let mut rest = text;
    while let Some(at) = rest.find(old) {
        let (before, behind) = (rest[..at].chars().next_back(), rest[at + old.len()..].chars().next());
        out.push_str(&rest[..at]);
        // A file's path is no name of a record.
        let path = behind == Some('.') && rest[at + old.len()..].starts_with(".csv");
        let whole = !before.is_some_and(part) && !behind.is_some_and(part) && !path;
        out.push_str(if whole { new } else { old });
        rest = &rest[at + old.len()..];
    }
    out + rest
}

fn said(verdict: bondline::qualify::verdict::Verdict, asks: Asks) -> String {
    match asks {
        Asks::None => verdict.word().to_string(),
        asks => format!("{} {}", verdict.word(), asks.word()),
    }
}

/// What differs, found without `impact`; that says only which subject takes the place of which.
#[derive(Default)]
struct Found {
    duties: BTreeMap<String, Vec<Reason>>,
    ended: BTreeSet<String>,
    panels_alone: BTreeSet<String>,
}

fn found(before: &Evaluation, after: &Evaluation, pairs: &BTreeMap<DutyKey, DutyKey>) -> Found {
    let mut found = Found::default();
    for (key, duty) in &after.duties {
        let old = before.duties.get(key).or_else(|| before.duties.get(pairs.get(key)?));
        let own = |duty: &Duty, panel: &str| duty.panels.get(panel).map(|one| said(one.verdict, one.asks));
        let moved: Vec<&str> = duty
            .panels
            .keys()
            .map(String::as_str)
            .filter(|panel| old.and_then(|old| own(old, panel)) != own(duty, panel))
            .collect();
        let now = said(duty.verdict(), duty.asks());
        let was = old.map(|old| said(old.verdict(), old.asks()));
        if was.as_ref() == Some(&now) {
            for panel in moved {
                let was = old.and_then(|old| own(old, panel)).unwrap_or_else(|| "new".to_string());
                let now = own(duty, panel).unwrap();
                found.panels_alone.insert(format!("{} | {} | {panel} | {was} -> {now}", key.0, key.1));
            }
            continue;
        }
        let subject = match old {
            Some(old) if old.subject != key.1 => format!("{} => {}", old.subject, key.1),
            _ => key.1.to_string(),
        };
        let was = was.unwrap_or_else(|| "new".to_string());
        let line = format!("{} | {subject} | {was} -> {now} | {}", key.0, moved.join(", "));
        let reasons = duty.panels.values().flat_map(|one| one.because.iter().cloned()).collect();
        found.duties.insert(plain(&line), reasons);
    }
    let replaced: BTreeSet<&DutyKey> = pairs.values().collect();
    for (key, duty) in &before.duties {
        if !after.duties.contains_key(key) && !replaced.contains(key) {
            found.ended.insert(format!("{} | {} | {}", key.0, key.1, said(duty.verdict(), duty.asks())));
        }
    }
    found
}

/// A subject with the faces of a bond in the order of their text.
fn faces(subject: &str) -> (String, Vec<String>) {
    let (head, faces) = subject.split_once(':').unwrap_or((subject, ""));
    let mut faces: Vec<String> = faces.split('+').map(str::to_string).collect();
    faces.sort();
    (head.to_string(), faces)
}

/// The pairs that `impact` names, and those that the story does.
fn pairs(
    impact: &Impact,
    before: &Evaluation,
    after: &Evaluation,
    step: &Step,
) -> BTreeMap<DutyKey, DutyKey> {
    let replaced = &step.expect.replaced;
    let mut pairs: BTreeMap<DutyKey, DutyKey> = impact
        .duties
        .iter()
        .filter_map(|row| {
            let old = row.was_subject.clone()?;
            Some(((row.showing.clone(), row.subject.clone()), (row.showing.clone(), old)))
        })
        .collect();
    let mut used = BTreeSet::new();
    for new_key in
        after.duties.keys().filter(|key| !step.renames.is_empty() && !before.duties.contains_key(*key))
    {
        let of_new = faces(&new_key.1.to_string());
        let old = before.duties.keys().find(|old| {
            let mut text = old.1.to_string();
            for rename in &step.renames {
                let name = rename.file.rsplit('/').next().unwrap().trim_end_matches(".yaml");
                text = renamed(&text, name, &rename.to);
            }
            old.0 == new_key.0 && faces(&text) == of_new
        });
        pairs.extend(old.map(|old| (new_key.clone(), old.clone())));
    }
    for (old_key, _) in before.duties.iter().filter(|(key, _)| !after.duties.contains_key(*key)) {
        let text = old_key.1.to_string();
        let Some(new) = replaced.get(&text) else { continue };
        used.insert(text);
        let new_key = after.duties.keys().find(|key| key.0 == old_key.0 && key.1.to_string() == *new);
        let new_key = new_key.unwrap_or_else(|| panic!("{} on {new} is not there", old_key.0));
        pairs.insert(new_key.clone(), old_key.clone());
    }
    assert_eq!(used.len(), replaced.len(), "`replaced` names what was not there: {replaced:?}");
    pairs
}

/// Writes what two sets do not share; nothing where they are equal.
fn difference(what: &str, expected: &BTreeSet<String>, got: &BTreeSet<String>, into: &mut Vec<String>) {
    into.extend(expected.difference(got).map(|line| format!("{what}: expected, and not so:  {line}")));
    into.extend(got.difference(expected).map(|line| format!("{what}: so, and not expected: {line}")));
}

/// What `impact` says, in the same words without the panels.
fn reported(impact: &Impact) -> BTreeSet<String> {
    let row = |subject: &Subject, was: &Option<Subject>| match was {
        Some(was) => format!("{was} => {subject}"),
        None => subject.to_string(),
    };
    impact
        .duties
        .iter()
        .map(|duty| {
            let was = duty.was.map_or("new".to_string(), |was| said(was, duty.was_asks.unwrap_or_default()));
            let now = said(duty.now, duty.asks);
            plain(&format!("{} | {} | {was} -> {now}", duty.showing, row(&duty.subject, &duty.was_subject)))
        })
        .collect()
}

fn tell(name: &str, story: &Story) -> Vec<String> {
    let recall = MemoryRecall::new();
    let today = Day::parse("2026-11-25").unwrap();
    let mut texts = behind(story.from.as_deref());
    let mut wrong = Vec::new();
    let mut ledger = load(&texts, &recall);
    let mut before = evaluate_with(&ledger, today, Detail::Allowed).unwrap();
    for (at, step) in story.steps.iter().enumerate() {
        step.lay(&mut texts, &recall);
        let changed = load(&texts, &recall);
        let after = evaluate_with(&changed, today, Detail::Allowed).unwrap();
        let impact = impact_of((&ledger, "a"), &before, (&changed, "b"), &after).unwrap();
        let expect = &step.expect;
        let mut own = Vec::new();
        let pairs = pairs(&impact, &before, &after, step);
        let found = found(&before, &after, &pairs);
        let keys: BTreeSet<String> = found.duties.keys().cloned().collect();
        difference("duties", &lines(&expect.duties), &keys, &mut own);
        difference("ended", &lines(&expect.ended), &found.ended, &mut own);
        difference("panels alone", &lines(&expect.panels_alone), &found.panels_alone, &mut own);
        for group in &expect.duties {
            for line in group.lines.iter().map(|line| plain(line)) {
                let reasons = found.duties.get(&line).map_or(&[][..], Vec::as_slice);
                for attribute in &group.names {
                    if !reasons.iter().any(|reason| reason.attribute == *attribute) {
                        let named: BTreeSet<&str> =
                            reasons.iter().map(|reason| reason.attribute.as_str()).collect();
                        own.push(format!("reasons: `{attribute}` is not named, {named:?} are: {line}"));
                    }
                }
            }
        }
        // What is reported is what was found.
        let short: BTreeSet<String> =
            keys.iter().map(|line| line.rsplit_once(" |").unwrap().0.to_string()).collect();
        difference("impact's duties", &short, &reported(&impact), &mut own);
        let ended: BTreeSet<(String, String)> = impact
            .ended
            .iter()
            .filter(|(showing, subject, _)| !impact.renewed.contains_key(&(showing.clone(), subject.clone())))
            .map(|(showing, subject, _)| (showing.clone(), subject.to_string()))
            .collect();
        let gone: BTreeSet<(String, String)> = found
            .ended
            .iter()
            .map(|line| line.split(" | ").map(str::to_string).collect::<Vec<_>>())
            .map(|parts| (parts[0].clone(), parts[1].clone()))
            .collect();
        if ended != gone {
            own.push(format!("impact says that these end: {ended:?}"));
        }
        let alone: BTreeSet<String> = impact
            .panel_rows
            .iter()
            .map(|row| format!("{} | {} | {}", row.showing, row.subject, row.panel))
            .collect();
        let own_alone: BTreeSet<String> =
            found.panels_alone.iter().map(|line| line.rsplit_once(" |").unwrap().0.to_string()).collect();
        difference("impact's panels", &own_alone, &alone, &mut own);
        let mass = impact.mass.1 - impact.mass.0;
        if (mass - expect.mass_kg).abs() > 0.0005 {
            own.push(format!("mass: {mass:+.4} kg, not {:+.4} kg", expect.mass_kg));
        }
        let moments: BTreeMap<String, (f64, f64, bool)> = impact
            .balance
            .iter()
            .map(|row| {
                let (was, now) = (row.was.unwrap(), row.now.unwrap());
                let to = |moment: f64| (moment * 1e3).round() / 1e3;
                (row.panel.clone(), (to(was.moment_kg_m), to(now.moment_kg_m), now.ok == Some(true)))
            })
            .collect();
        if moments != expect.balance {
            own.push(format!("balance: {moments:?}, not {:?}", expect.balance));
        }
        if impact.grounded != expect.grounded {
            own.push(format!("grounded: {:?}, not {:?}", impact.grounded, expect.grounded));
        }
        wrong.extend(own.into_iter().map(|line| format!("{name}, step {}: {line}", at + 1)));
        (ledger, before) = (changed, after);
    }
    wrong
}

#[test]
fn every_story_comes_out_as_told() {
    let folder = root().join("tests/stories");
    let only = std::env::var("STORY").ok();
    let mut told = 0;
    let mut wrong = Vec::new();
    for file in files(&folder).into_iter().filter(|file| file.ends_with(".yaml")) {
        if only.as_ref().is_some_and(|only| !file.contains(only.as_str())) {
            continue;
        }
        let story: Story = serde_yaml::from_slice(&fs::read(folder.join(&file)).unwrap())
            .unwrap_or_else(|error| panic!("{file}: {error}"));
        assert!(!story.steps.is_empty(), "{file} tells nothing");
        wrong.extend(tell(file.trim_end_matches(".yaml"), &story));
        told += 1;
    }
    assert!(told > 0, "no story was told");
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}
