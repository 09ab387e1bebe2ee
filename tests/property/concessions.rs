//! A concession reaches as far as it says, and no further.

use super::config;
use super::judging::{Seen, load};
use super::laws::DIFFERENCES;
use super::programme::{Records, label, plans, proved};
use bondline::qualify::verdict::{Judged, Verdict};
use bondline::record::sensitivity::Asks;
use proptest::prelude::*;
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// What stands between a verdict and met: attributes with their values now.
fn missing(judged: &Judged) -> Vec<(String, String)> {
    let own = judged.because.iter().filter(|reason| reason.effect > Asks::None);
    own.map(|reason| (reason.attribute.to_string(), reason.is.to_string())).collect()
}

/// Just what is there now: a figure that a surface stands behind is bounded, any other value named.
fn reach(attribute: &str, is: &str) -> Value {
    let figure = || is.split([' ', ',']).take(2).collect::<Vec<_>>().join(" ");
    match attribute {
        "skin.structural" => json!({"at_most": figure()}),
        "exposure.minimum" => json!({"at_least": figure()}),
        _ => json!({"equals": is}),
    }
}

/// Heat is no attribute of an article, but a concession may bound it.
const HOT: (&str, &str, &str) = ("finishes/finish-0.yaml", "/colour/solar_absorptance", "0.98");

fn with(base: &Records, differences: &[usize]) -> Records {
    let mut all = base.clone();
    for at in differences {
        let (path, place, to) = *DIFFERENCES.get(*at).unwrap_or(&HOT);
        *all.values.get_mut(path).unwrap().pointer_mut(place).unwrap() = json!(to);
    }
    all
}

proptest! {
    #![proptest_config(config(48))]

    /// Over one duty of a changed programme a concession is laid that names some of its differences. The duty
    /// is conceded for just those panels of which it names all; no other duty moves.
    #[test]
    fn a_concession_hides_nothing_that_it_does_not_name(
        plan in plans(),
        differences in proptest::collection::vec(0..=DIFFERENCES.len(), 1..4),
        at in any::<usize>(), names in any::<u8>(), late in proptest::bool::weighted(0.15),
    ) {
        let base = with(&proved(&plan), &differences);
        let before = Seen::of(load(&base));
        let lapsed: Vec<_> = before.evaluation.duties.iter().filter(|(_, duty)| duty.verdict() == Verdict::Lapsed).collect();
        let Some((key, duty)) = at.checked_rem(lapsed.len()).map(|at| lapsed[at]) else {
            return Err(TestCaseError::reject("nothing lapsed"));
        };
        // That what came nearest is no baseline is nothing that a concession can name: with it none holds.
        let all: BTreeMap<String, String> = duty.panels.values().flat_map(|judged| missing(judged))
            .filter(|(attribute, _)| attribute != "baseline").collect();
        // Often all of them, so that many a concession holds.
        let named = |at: usize| names < 96 || names >> (at % 8) & 1 == 1;
        let covers: BTreeMap<&String, &String> =
            all.iter().enumerate().filter(|(at, _)| named(*at)).map(|(_, pair)| pair).collect();
        prop_assume!(!covers.is_empty());
        let values: serde_json::Map<String, Value> =
            covers.iter().map(|(attribute, is)| ((*attribute).clone(), reach(attribute, is))).collect();
        let mut conceded = base.clone();
        conceded.values.insert("concessions/c-1.yaml".to_string(), json!({
            "showing": key.0, "subject": label(&key.1), "reason": "x", "covers": values,
            "limit": 100, "until": if late { "2026-05-31" } else { "2026-06-01" },
        }));
        let after = Seen::of(load(&conceded));
        for (other, duty) in &before.evaluation.duties {
            let now = &after.evaluation.duties[other];
            for (panel, was) in &*duty.panels {
                let missing = missing(was);
                let reached = other == key && !late && was.verdict == Verdict::Lapsed
                    && missing.iter().all(|(attribute, is)| covers.get(attribute) == Some(&is));
                let expected = if reached { Verdict::Conceded } else { was.verdict };
                prop_assert_eq!(now.panels[panel].verdict, expected, "{:?} {} {:?} {:?}", other, panel, missing, covers);
                prop_assert_eq!(now.panels[panel].asks, was.asks);
            }
        }
    }
}

#[test]
fn concessions_of_both_sorts_come_up() {
    // A guard on the law above: at some programme a whole concession holds, and one of less does not.
    use proptest::strategy::ValueTree;
    use proptest::test_runner::TestRunner;
    let mut runner = TestRunner::new(config(1));
    let (mut several, mut hot) = (0, 0);
    for _ in 0..24 {
        let plan = plans().new_tree(&mut runner).unwrap().current();
        let seen = Seen::of(load(&with(&proved(&plan), &[0, 6])));
        let lapsed = seen.evaluation.duties.values().filter(|duty| duty.verdict() == Verdict::Lapsed);
        let heat =
            |judged: &Judged| missing(judged).iter().any(|(attribute, _)| attribute == "skin.structural");
        let dark = Seen::of(load(&with(&proved(&plan), &[DIFFERENCES.len()])));
        hot += dark
            .evaluation
            .duties
            .values()
            .filter(|duty| duty.panels.values().any(|judged| heat(judged)))
            .count();
        several += lapsed.filter(|duty| duty.panels.values().any(|judged| missing(judged).len() > 1)).count();
    }
    assert!(several > 3 && hot > 3, "{several} {hot}");
}
