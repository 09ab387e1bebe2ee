//! Laws of decisions: edits said as changes come to the same edits, and an impact of a decision is the impact of
//! carrying it out.

use super::config;
use super::edits::{apply, edits};
use super::judging::{Seen, close, read, try_load};
use super::programme::{plans, proved};
use bondline::change::carried::{carried_out, carries};
use bondline::change::decide::{DecideError, overlay};
use bondline::change::diff::diff;
use bondline::change::draft::{Wish, bare, changes_between, changes_of};
use bondline::change::explain::explain;
use bondline::change::past::{Past, Revisions};
use bondline::change::rebase::{follow, renew};
use bondline::ledger::{Ledger, MemoryRecall};
use bondline::record::{Change, Decision, DecisionStatus, Text};
use bondline::source::{Commit, Snapshot, SourceError};
use proptest::prelude::*;

/// A state read both ways.
fn state(texts: std::collections::BTreeMap<String, Vec<u8>>) -> Result<(Snapshot, Ledger), TestCaseError> {
    let refused = |faults: Vec<String>| TestCaseError::reject(format!("refused by the reader: {faults:?}"));
    Ok((Snapshot::in_memory_at(texts.clone(), Some(BASE)), read(texts).map_err(refused)?))
}

proptest! {
    #![proptest_config(config(48))]

    #[test]
    fn edits_said_as_changes_come_to_the_same_records(plan in plans(), some in proptest::collection::vec(edits(), 1..4)) {
        let base = proved(&plan);
        let mut head = base.clone();
        for edit in &some {
            if let Some(next) = apply(&head, edit)
                && try_load(&next).is_ok()
            {
                head = next;
            }
        }
        let (old, new) = (state(base.texts())?, state(head.texts())?);
        let edited = changes_between((&old.1, &old.0), (&new.1, &new.0)).unwrap();
        prop_assert_eq!(edited.changes.is_empty(), diff(&old.1, &new.1).changes.is_empty());
        let decision = bare(edited.changes);
        let texts = overlay(&old.1, &old.0, &[&decision]).unwrap();
        let laid = old.0.overlay(texts);
        let decided = Ledger::load(&laid, &MemoryRecall::new());
        prop_assert_eq!(diff(&decided, &new.1).changes, vec![]);
        // What the decision does is what the edits do.
        let (before, after, by_hand) = (Seen::of(old.1), Seen::of(decided), Seen::of(new.1));
        let (one, two) = (before.to(&after), before.to(&by_hand));
        prop_assert!(close(one.mass.1, two.mass.1));
        prop_assert_eq!(&one.duties, &two.duties);
        prop_assert_eq!(&one.ended, &two.ended);
        prop_assert_eq!(&one.changes, &two.changes);
        // And whoever makes those edits carries the decision out.
        if !decision.changes.is_empty() {
            let edits = diff(&before.ledger, &by_hand.ledger);
            let recall = MemoryRecall::new();
            prop_assert!(carries((&before.ledger, &old.0), &edits, &decision, &recall));
        }
    }

    #[test]
    fn changes_that_do_not_touch_each_other_may_come_in_any_order(plan in plans(), first in edits(), second in edits()) {
        let base = proved(&plan);
        let (Some(one), Some(two)) = (apply(&base, &first), apply(&base, &second)) else {
            return Err(TestCaseError::reject("nothing to edit"));
        };
        let (old, one, two) = (state(base.texts())?, state(one.texts())?, state(two.texts())?);
        let changes = |new: &(Snapshot, Ledger)| changes_between((&old.1, &old.0), (&new.1, &new.0)).unwrap().changes;
        let (one, two) = (bare(changes(&one)), bare(changes(&two)));
        let records = |changes: &[Change]| -> Vec<String> {
            let places = changes.iter().flat_map(|own| [&own.set, &own.remove, &own.insert, &own.add, &own.drop]);
            places.flatten().map(|place| place.split('#').next().unwrap_or_default().to_string()).collect()
        };
        let apart = records(&one.changes).iter().all(|own| !records(&two.changes).contains(own));
        prop_assume!(apart && !one.changes.is_empty() && !two.changes.is_empty());
        let laid = |all: &[&bondline::record::Decision]| overlay(&old.1, &old.0, all).unwrap();
        prop_assert_eq!(laid(&[&one, &two]), laid(&[&two, &one]));
    }

    #[test]
    fn a_decision_follows_a_record_that_grew_in_front_of_it(plan in plans(), edit in edits(), more in 1_usize..3) {
        let base = proved(&plan);
        let Some(head) = apply(&base, &edit) else { return Err(TestCaseError::reject("nothing to edit")) };
        let (old, new) = (state(base.texts())?, state(head.texts())?);
        let decision = bare(changes_between((&old.1, &old.0), (&new.1, &new.0)).unwrap().changes);
        let place = |change: &Change| change.set.clone().or_else(|| change.remove.clone()).or_else(|| change.insert.clone());
        let in_layers = decision.changes.iter().all(|change| {
            place(change).is_some_and(|place| place.starts_with("recipe/") && place.contains("#layers"))
        });
        // What goes in front of all goes behind films that came there first.
        let in_front = decision.changes.iter().any(|own| own.after.as_ref().is_some_and(|at| at.0.as_u64() == Some(0)));
        prop_assume!(in_layers && !in_front && !decision.changes.is_empty());
        // Meanwhile films come in front of all layers of every recipe, in both states alike.
        let grown = |records: &super::programme::Records| {
            let mut records = records.clone();
            for id in records.ids("recipes") {
                let layers = records.record("recipes", &id)["layers"].as_array_mut().unwrap();
                for _ in 0..more {
                    layers.insert(0, serde_json::json!({ "material": "veil-v" }));
                }
            }
            records
        };
        prop_assume!(read(grown(&base).texts()).is_ok() && read(grown(&head).texts()).is_ok());
        let (moved, wanted) = (state(grown(&base).texts())?, state(grown(&head).texts())?);
        let settled = match follow(&decision, (&old.1, &old.0), (&moved.1, &moved.0), &std::collections::BTreeMap::new()) {
            Ok(settled) => settled,
            // Among equals nobody can say which one it was: that is refused, and nothing else is.
            Err(DecideError::Unsure { places, .. }) => {
                prop_assert!(places.len() > 1);
                return Ok(());
            }
            Err(other) => return Err(TestCaseError::fail(other.to_string())),
        };
        let texts = overlay(&moved.1, &moved.0, &[&settled]).unwrap();
        let decided = Ledger::load(&moved.0.overlay(texts), &MemoryRecall::new());
        prop_assert_eq!(diff(&decided, &wanted.1).changes, vec![]);
        // It fits already: there is nothing to renew.
        prop_assert_eq!(renew(&settled, &moved.1, &moved.0).unwrap().changes, settled.changes);
    }
}

/// The layers of one recipe of plies alone, as records write them, and a change of them: what to do, where, and with
/// which of a few plies, so that equals are common.
#[derive(Debug, Clone)]
struct Touch {
    what: u8,
    at: usize,
    angle: usize,
}

const ANGLES: [&str; 3] = ["0", "45", "90"];

fn touches() -> impl Strategy<Value = Touch> {
    (0_u8..3, 0_usize..8, 0_usize..3).prop_map(|(what, at, angle)| Touch { what, at, angle })
}

fn recipe_of(angles: &[usize]) -> std::collections::BTreeMap<String, Vec<u8>> {
    let layers: String =
        angles.iter().map(|angle| format!("  - {{material: cw, angle: {}}}\n", ANGLES[*angle])).collect();
    [
        ("ledger.yaml", "format: 1\nprogramme: Test (invented)\n".to_string()),
        ("materials/cw.yaml", "kind: prepreg\nfibre: {name: hs-a, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}\nresin: {name: ep-1, density: 1240 kg/m3, content: 37 %}\n".to_string()),
        ("processes/oven.yaml", "method: oven\n".to_string()),
        ("recipes/skin.yaml", format!("class: structural\nprocess: oven\nlayers:\n{layers}")),
    ]
    .into_iter()
    .map(|(file, text)| (file.to_string(), text.into_bytes()))
    .collect()
}

/// A decision as `draft` writes it of a commit, and what it does to a list of plies that are told apart: those of
/// before by their number, new ones by the decision.
fn drafted(state: &(Snapshot, Ledger), angles: &[usize], touch: &Touch) -> Decision {
    let wish = match touch.what {
        0 => Wish::Set(
            format!("recipe/skin#layers.{}.angle", touch.at % angles.len() + 1),
            serde_yaml::from_str(ANGLES[touch.angle]).unwrap(),
        ),
        1 => Wish::Remove(format!("recipe/skin#layers.{}", touch.at % angles.len() + 1)),
        _ => Wish::Insert(
            format!("recipe/skin#layers.{}", touch.at % (angles.len() + 1)),
            serde_yaml::from_str(&format!("{{material: cw, angle: {}}}", ANGLES[touch.angle])).unwrap(),
        ),
    };
    let changes = changes_of(&state.1, &state.0, &[wish]).unwrap_or_default();
    Decision { base: Some(Text::from(BASE)), ..bare(changes) }
}

const BASE: &str = "first";

/// What the decisions come to when each ply is known by who it is: the angles, judged together by hand.
fn by_hand(angles: &[usize], touches: &[&Touch]) -> Option<Vec<usize>> {
    let mut plies: Vec<Option<usize>> = angles.iter().copied().map(Some).collect();
    let mut come: Vec<(usize, usize)> = Vec::new();
    let mut held: Vec<usize> = Vec::new();
    for touch in touches {
        match touch.what {
            2 => come.push((touch.at % (angles.len() + 1), touch.angle)),
            what => {
                let at = touch.at % angles.len();
                // Of two that take hold of one ply nobody can say what they come to together.
                if held.contains(&at) {
                    return None;
                }
                held.push(at);
                *plies.get_mut(at)? = (what == 0).then_some(touch.angle);
            }
        }
    }
    let mut all = Vec::new();
    for at in 0..=angles.len() {
        all.extend(come.iter().filter(|(gap, _)| *gap == at).map(|(_, angle)| *angle));
        all.extend(plies.get(at).copied().flatten());
    }
    Some(all)
}

fn angles_of(snapshot: &Snapshot) -> Vec<String> {
    let text = String::from_utf8(snapshot.read("recipes/skin.yaml").unwrap().to_vec()).unwrap();
    let value: serde_json::Value = serde_yaml::from_str(&text).unwrap();
    value["layers"].as_array().unwrap().iter().map(|layer| layer["angle"].to_string()).collect()
}

fn texts_of(snapshot: &Snapshot) -> std::collections::BTreeMap<String, Vec<u8>> {
    snapshot.files().map(|file| (file.path.clone(), snapshot.read(&file.path).unwrap().to_vec())).collect()
}

fn words_of(angles: &[usize]) -> Vec<String> {
    angles.iter().map(|angle| ANGLES[*angle].to_string()).collect()
}

/// Commits that follow each other, each with its whole state.
struct Line(Vec<(String, Snapshot)>);

impl Revisions for Line {
    fn touching(&self, _: &str, _: &[String]) -> Result<Vec<Commit>, SourceError> {
        let commit = |at: usize| Commit {
            id: self.0[at].0.clone(),
            parents: at.checked_sub(1).map(|before| self.0[before].0.clone()).into_iter().collect(),
            time: 0,
            summary: String::new(),
            decisions: Vec::new(),
        };
        Ok((0..self.0.len()).map(commit).collect())
    }

    fn commit(&self, id: &str) -> Option<Snapshot> {
        self.0.iter().find(|(own, _)| own == id).map(|(_, snapshot)| snapshot.clone())
    }
}

proptest! {
    #![proptest_config(config(256))]

    #[test]
    fn judged_together_decisions_mean_the_plies_that_they_meant_whatever_the_order(
        angles in proptest::collection::vec(0_usize..3, 1..6), first in touches(), second in touches()
    ) {
        let old = state(recipe_of(&angles))?;
        let (one, two) = (drafted(&old, &angles, &first), drafted(&old, &angles, &second));
        prop_assume!(!one.changes.is_empty() && !two.changes.is_empty());
        let laid = |all: &[&Decision]| overlay(&old.1, &old.0, all).map(|texts| angles_of(&old.0.overlay(texts)));
        for (decisions, order) in [([&one, &two], [&first, &second]), ([&two, &one], [&second, &first])] {
            match (laid(&decisions), by_hand(&angles, &order)) {
                (Ok(found), Some(wanted)) => prop_assert_eq!(found, words_of(&wanted)),
                (Err(error), Some(_)) => prop_assert!(false, "{error}"),
                // Both take hold of one ply: once if they say the same, else the second one is told that it can't.
                (Ok(found), None) => {
                    let alone = by_hand(&angles, &[&first]).unwrap();
                    prop_assert!(first.what == 1 && second.what == 1 || first.angle == second.angle);
                    prop_assert_eq!(found, words_of(&alone));
                }
                (Err(_), None) => {}
            }
        }
    }

    #[test]
    fn carried_out_one_after_the_other_they_come_to_the_same_or_are_refused(
        angles in proptest::collection::vec(0_usize..3, 1..6), first in touches(), second in touches()
    ) {
        let old = state(recipe_of(&angles))?;
        let (one, two) = (drafted(&old, &angles, &first), drafted(&old, &angles, &second));
        prop_assume!(!one.changes.is_empty() && !two.changes.is_empty());
        let Some(wanted) = by_hand(&angles, &[&first, &second]) else { return Ok(()) };
        let line = Line(vec![(BASE.to_string(), old.0.clone())]);
        let recall = MemoryRecall::new();
        let past = Past { revisions: &line, recall: &recall };
        let laid = old.0.overlay(overlay(&old.1, &old.0, &[&one]).unwrap());
        prop_assume!(!angles_of(&laid).is_empty());
        let now = (laid.clone(), Ledger::load(&laid, &recall));
        prop_assume!(now.1.broken.is_empty());
        let settled = past.settled((&now.1, &now.0), &two);
        let done = settled.and_then(|two| overlay(&now.1, &now.0, &[&two]));
        match done {
            Ok(texts) => prop_assert_eq!(angles_of(&now.0.overlay(texts)), words_of(&wanted)),
            // Among equals nobody knows which ply it was; or the same ply was put into the same gap.
            Err(DecideError::Unsure { .. } | DecideError::Done { .. } | DecideError::Gone { .. } | DecideError::MovedOn { .. }) => {
                let equals = angles.windows(2).any(|two| two[0] == two[1]);
                let again = first.what == 2 && second.what == 2;
                let nears = angles.contains(&first.angle);
                prop_assert!(equals || again || nears || first.what != 2, "{angles:?} {first:?} {second:?}");
            }
            Err(other) => prop_assert!(false, "{other}"),
        }
    }

    #[test]
    fn approved_decisions_on_one_list_do_not_hold_each_other_up(
        angles in proptest::collection::vec(0_usize..3, 2..6), first in touches(), second in touches()
    ) {
        let plain = state(recipe_of(&angles))?;
        let approved = |touch: &Touch| {
            Decision { status: DecisionStatus::Approved, ..drafted(&plain, &angles, touch) }
        };
        let (one, two) = (approved(&first), approved(&second));
        prop_assume!(!one.changes.is_empty() && !two.changes.is_empty());
        prop_assume!(by_hand(&angles, &[&first, &second]).is_some_and(|all| !all.is_empty()));
        let ids = ["dd-001-x", "dd-002-y"];
        let mut texts = recipe_of(&angles);
        for (id, decision) in ids.iter().zip([&one, &two]) {
            texts.insert(format!("decisions/{id}.yaml"), serde_yaml::to_string(decision).unwrap().into_bytes());
        }
        let old = state(texts)?;
        let recall = MemoryRecall::new();
        let line = Line(vec![(BASE.to_string(), old.0.clone())]);
        let past = Past { revisions: &line, recall: &recall };
        // The gate lets in each alone while the other is still to be done, and both at once; the commit names what it
        // carries out.
        for (decisions, named) in [(vec![&one], &ids[..1]), (vec![&two], &ids[1..]), (vec![&one, &two], &ids[..])] {
            let laid = old.0.overlay(overlay(&old.1, &old.0, &decisions).unwrap());
            let now = Ledger::load(&laid, &recall);
            prop_assume!(now.broken.is_empty());
            let edits = diff(&old.1, &now);
            // Two that undo each other change nothing.
            prop_assume!(!edits.changes.is_empty());
            let explained = explain((&old.1, &old.0), (&now, &laid), &edits, &past);
            let left: Vec<_> = edits.changes.iter().filter(|change| !explained.covers(change)).collect();
            prop_assert!(left.is_empty(), "{named:?}: {left:?}");
            let found = carried_out((&old.1, &old.0), &now, &edits, &past);
            prop_assert!(named.iter().all(|id| found.contains(&id.to_string())), "{named:?}: {found:?}");
            // And what was carried out is used up, whatever was carried out with it.
            let after = Line(vec![line.0[0].clone(), ("second".to_string(), laid.clone())]);
            let past = Past { revisions: &after, recall: &recall };
            for (id, decision) in ids.iter().zip([&one, &two]).filter(|(id, _)| named.contains(*id)) {
                prop_assert_eq!(past.spent((&now, &Snapshot::in_memory_at(texts_of(&laid), Some("second"))), id, decision).unwrap().len(), 1, "{}", id);
            }
        }
    }

    #[test]
    fn what_was_carried_out_is_used_up_and_what_is_gone_is_nobody_elses(
        angles in proptest::collection::vec(0_usize..3, 2..6), touch in touches(), is_dated: bool
    ) {
        let with = |texts: std::collections::BTreeMap<String, Vec<u8>>, decision: &Decision| {
            let mut texts = texts;
            texts.insert("decisions/dd-001-x.yaml".to_string(), serde_yaml::to_string(decision).unwrap().into_bytes());
            texts
        };
        let plain = state(recipe_of(&angles))?;
        let mut decision = drafted(&plain, &angles, &touch);
        prop_assume!(!decision.changes.is_empty());
        decision.status = DecisionStatus::Approved;
        if !is_dated {
            // As people write one by hand: only the history says that it was carried out.
            decision.base = None;
            decision.changes.iter_mut().for_each(|change| change.between = None);
        }
        let old = state(with(recipe_of(&angles), &decision))?;
        let recall = MemoryRecall::new();
        let carried = old.0.overlay(overlay(&old.1, &old.0, &[&decision]).unwrap());
        let now = (carried.clone(), Ledger::load(&carried, &recall));
        let at = |id: &str, snapshot: &Snapshot| (id.to_string(), snapshot.clone());
        let mut line = Line(vec![at(BASE, &old.0)]);
        let spent = |line: &Line, state: &(Snapshot, Ledger)| {
            let past = Past { revisions: line, recall: &recall };
            past.spent((&state.1, &state.0), "dd-001-x", &decision).unwrap().len()
        };
        prop_assert_eq!(spent(&line, &old), 0, "nothing was done yet");
        line.0.push(at("second", &now.0));
        prop_assert_eq!(spent(&line, &now), 1, "the second commit did it");
        // A removal that is done has no second ply to take, and a set no second place.
        let past = Past { revisions: &line, recall: &recall };
        let again = past.settled((&now.1, &now.0), &decision).and_then(|own| overlay(&now.1, &now.0, &[&own]));
        prop_assert!(again.is_err() || touch.what == 2 || !is_dated, "{again:?}");
        // And whatever it is, the gate takes no second one for it.
        let explained = |to: &(Snapshot, Ledger)| {
            let edits = diff(&now.1, &to.1);
            let explained = explain((&now.1, &now.0), (&to.1, &to.0), &edits, &past);
            edits.changes.iter().filter(|change| explained.covers(change)).count()
        };
        let mut twice: Vec<usize> = angles_of(&now.0).iter().map(|angle| ANGLES.iter().position(|own| own == angle).unwrap()).collect();
        match touch.what {
            0 => twice.iter_mut().for_each(|angle| *angle = touch.angle),
            1 if twice.len() > 1 => drop(twice.remove(touch.at % twice.len())),
            1 => return Ok(()),
            _ => twice.insert(touch.at % (twice.len() + 1), touch.angle),
        }
        prop_assert_eq!(explained(&state(with(recipe_of(&twice), &decision))?), 0);
    }
}
