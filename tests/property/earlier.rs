//! What earlier runs judged and computed is what would be judged and computed anew; and only what a change touches is.

use super::config;
use super::edits::{apply, edits};
use super::judging::{evaluated, today, try_load};
use super::margins::{carried, loaded};
use super::programme::{Records, plans, proved};
use bondline::ledger::Ledger;
use bondline::qualify::earlier::{Earlier, Effort, Mark, Values};
use bondline::qualify::judge::Detail;
use bondline::qualify::live::leans_on_computed;
use bondline::qualify::table::Table;
use bondline::qualify::verdict::{Duty, Evaluation, evaluate_after};
use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::TestRunner;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, Mutex};

/// Keeps in memory what the program keeps in a file: what is handed over is there from the next run on.
#[derive(Default)]
struct Shelf {
    kept: Mutex<BTreeMap<(&'static str, Mark), Vec<u8>>>,
    later: Mutex<Vec<(&'static str, Values)>>,
}

impl Earlier for Shelf {
    fn find(&self, what: &'static str, mark: &Mark) -> Option<Vec<u8>> {
        self.kept.lock().unwrap().get(&(what, *mark)).cloned()
    }

    fn keep(&self, what: &'static str, values: Values) {
        self.later.lock().unwrap().push((what, values));
    }
}

impl Shelf {
    /// Judges a ledger and computes all its margins, as one run does; then its answer is out.
    fn run(self: &Arc<Self>, ledger: &Ledger) -> (Evaluation, Effort) {
        let found =
            evaluate_after(ledger, today(), Detail::Verdicts, Some(Arc::<Self>::clone(self))).unwrap();
        for panel in ledger.panels.keys() {
            let _ = found.margins(ledger, panel);
        }
        let effort = found.effort();
        for (what, values) in std::mem::take(&mut *self.later.lock().unwrap()) {
            let own = values().into_iter().map(|(mark, value)| ((what, mark), value));
            self.kept.lock().unwrap().extend(own);
        }
        (found, effort)
    }
}

fn agree(ledger: &Ledger, found: &Evaluation) -> Result<(), TestCaseError> {
    let anew = evaluated(ledger);
    prop_assert_eq!(&found.duties, &anew.duties);
    prop_assert_eq!(&found.assumptions, &anew.assumptions);
    for panel in ledger.panels.keys() {
        let (one, two) = (found.margins(ledger, panel).ok(), anew.margins(ledger, panel).ok());
        prop_assert_eq!(one, two, "{}", panel);
    }
    Ok(())
}

/// How many verdicts have to be judged at least, where all of `panel` are: the programme's, which are nobody's, and those
/// that look at what is computed, which are kept nowhere.
fn to_be_judged(evaluation: &Evaluation, ledger: &Ledger, panel: Option<&str>) -> usize {
    let kind = |showing: &str| ledger.showings[showing].value.kind.as_str();
    let leans = |showing: &str| Table::row(kind(showing)).is_some_and(leans_on_computed);
    let duties = evaluation.duties.values().filter(|duty| kind(&duty.showing) != "computed");
    let own =
        |duty: &Duty, name: &String| leans(&duty.showing) || name.is_empty() || Some(name.as_str()) == panel;
    duties.map(|duty| duty.panels.keys().filter(|name| own(duty, name)).count()).sum()
}

/// The panel that is all that differs between two states.
fn only_panel(one: &Records, two: &Records) -> Option<String> {
    let (one, two) = (one.texts(), two.texts());
    let paths: BTreeSet<&String> = one.keys().chain(two.keys()).collect();
    let mut differing = paths.into_iter().filter(|path| one.get(*path) != two.get(*path));
    let (first, None) = (differing.next()?, differing.next()) else { return None };
    Some(first.strip_prefix("panels/")?.strip_suffix(".yaml")?.to_string())
}

proptest! {
    #![proptest_config(config(6))]

    #[test]
    fn what_was_kept_is_what_would_be_judged(
        plan in plans(), carried in carried(), steps in proptest::collection::vec(edits(), 1..3),
    ) {
        let shelf = Arc::new(Shelf::default());
        let mut records = loaded(&plan, &carried);
        let mut states = vec![records.clone()];
        for edit in steps {
            if let Some(changed) = apply(&records, &edit) {
                records = changed;
                states.push(records.clone());
            }
        }
        // There, and back again, where all is known.
        let back: Vec<Records> = states.iter().rev().cloned().collect();
        for (at, records) in states.iter().chain(&back).enumerate() {
            let Ok(ledger) = try_load(records) else { continue };
            let (found, effort) = shelf.run(&ledger);
            agree(&ledger, &found)?;
            if at >= states.len() {
                prop_assert_eq!(effort.computed, 0, "margins of a state that was seen");
                let own = to_be_judged(&found, &ledger, None);
                prop_assert!(effort.judged <= own, "{:?} for {own}", effort);
            }
        }
    }
}

#[test]
fn a_change_of_a_panel_is_judged_for_that_panel_alone() {
    let mut runner = TestRunner::new(config(1));
    let (mut looked, mut least) = (0, usize::MAX);
    for _ in 0..400 {
        let plan = plans().new_tree(&mut runner).unwrap().current();
        let edit = edits().new_tree(&mut runner).unwrap().current();
        let base = proved(&plan);
        let Some(changed) = apply(&base, &edit) else { continue };
        let Some(panel) = only_panel(&base, &changed) else { continue };
        let (Ok(old), Ok(new)) = (try_load(&base), try_load(&changed)) else { continue };
        let shelf = Arc::new(Shelf::default());
        let (before, first) = shelf.run(&old);
        let (after, effort) = shelf.run(&new);
        // What comes into use, or falls out of it, moves what its evidence may speak for.
        if before.uses.keys().ne(after.uses.keys()) || old.panels.len() < 2 {
            continue;
        }
        let own = to_be_judged(&after, &new, Some(&panel));
        assert!(effort.judged <= own, "{effort:?} for {own} of {panel}: {edit:?}");
        assert!(first.judged >= effort.judged);
        looked += 1;
        least = least.min(effort.judged * 100 / first.judged.max(1));
    }
    assert!(looked >= 20, "only {looked} changes were of one panel alone");
    assert!(least < 50, "no change was judged for less than half");
}

/// Margins say whose they are: a panel of the same text under another name has its own.
#[test]
fn twins_are_called_by_their_own_names() {
    let mut runner = TestRunner::new(config(1));
    let mut named = 0;
    for _ in 0..12 {
        let plan = plans().new_tree(&mut runner).unwrap().current();
        let carried = carried().new_tree(&mut runner).unwrap().current();
        let mut one = loaded(&plan, &carried);
        let first = one.ids("panels").remove(0);
        one.record("panels", &first).as_object_mut().unwrap().remove("load_path");
        let mut two = one.clone();
        let value = one.record("panels", &first).clone();
        two.put("panels", "twin", value);
        let (Ok(one), Ok(two)) = (try_load(&one), try_load(&two)) else { continue };
        let shelf = Arc::new(Shelf::default());
        for ledger in [&one, &two, &two, &one] {
            let (found, _) = shelf.run(ledger);
            agree(ledger, &found).unwrap();
            let twin =
                ledger.panels.contains_key("twin").then(|| found.margins(ledger, "twin").ok()).flatten();
            let said = twin.iter().flat_map(|own| &own.assumptions).any(|words| words.contains("panel/twin"));
            named += usize::from(said);
        }
    }
    assert!(named > 0, "no margins named the panel");
}
