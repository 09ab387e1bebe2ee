//! A concession reaches as far as it says, and no further.

use super::config;
use super::judging::{Seen, load};
use super::laws::DIFFERENCES;
use super::programme::{Records, label, plans, proved};
use bondline::qualify::verdict::{DutyKey, Judged, Verdict};
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

/// Whether a value lies in what [`reach`] makes of another.
fn is_within(attribute: &str, is: &str, other: &str) -> bool {
    let figure = |text: &str| text.split(' ').next().and_then(|own| own.parse::<f64>().ok());
    match (attribute, figure(is), figure(other)) {
        ("skin.structural", Some(is), Some(other)) => is <= other,
        ("exposure.minimum", Some(is), Some(other)) => is >= other,
        _ => is == other,
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

    /// Over one duty of a changed programme a concession is laid that names some of its differences. No other duty moves.
    /// What was met before the change, and whose differences from that evidence are all named, is conceded; nothing is
    /// conceded of which no record's differences are all named.
    #[test]
    fn a_concession_hides_nothing_that_it_does_not_name(
        plan in plans(),
        differences in proptest::collection::vec(0..=DIFFERENCES.len(), 1..4),
        at in any::<usize>(), names in any::<u8>(), late in proptest::bool::weighted(0.15),
    ) {
        let proved = proved(&plan);
        let proven = Seen::of(load(&proved));
        let base = with(&proved, &differences);
        let before = Seen::of(load(&base));
        let lapsed: Vec<_> = before.evaluation.duties.iter().filter(|(_, duty)| duty.verdict() == Verdict::Lapsed).collect();
        let Some((key, duty)) = at.checked_rem(lapsed.len()).map(|at| lapsed[at]) else {
            return Err(TestCaseError::reject("nothing lapsed"));
        };
        // That what came nearest is no baseline is nothing that a concession can name.
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
        let is_named = |judged: &Judged| {
            missing(judged).iter().all(|(attribute, is)| covers.get(attribute).is_some_and(|own| is_within(attribute, is, own)))
        };
        for (other, duty) in &before.evaluation.duties {
            let now = &after.evaluation.duties[other];
            for (panel, was) in &*duty.panels {
                let (is, told) = (&now.panels[panel], missing(was));
                prop_assert_eq!(is.asks, was.asks);
                if is.verdict != was.verdict {
                    prop_assert!(other == key && !late && is.verdict == Verdict::Conceded, "{:?} {} {:?} {:?}", other, panel, told, covers);
                    prop_assert!(some_record(&base, key, panel, is_named), "{:?} {} {:?} {:?}", other, panel, told, covers);
                }
                let once = proven.evaluation.duties.get(other).and_then(|duty| duty.panels.get(panel));
                let counted = |own: &Judged| own.verdict == Verdict::Met && was.evidence.iter().all(|id| own.has_evidence(id));
                let reached = other == key && !late && was.verdict == Verdict::Lapsed && is_named(was);
                // One of several tests by itself may be too few.
                if reached && once.is_some_and(|own| counted(own) && own.evidence.len() == 1) {
                    prop_assert_eq!(is.verdict, Verdict::Conceded, "{:?} {} {:?} {:?}", other, panel, told, covers);
                }
            }
        }
    }
}

/// Whether the differences to any one record of a duty's showing, with what it extends, are all named.
fn some_record(base: &Records, key: &DutyKey, panel: &str, is_named: impl Fn(&Judged) -> bool) -> bool {
    let of = |path: &String| path.starts_with("evidence/") && base.values[path]["showing"] == *key.0;
    let all: Vec<&String> = base.values.keys().filter(|path| of(path)).collect();
    all.iter().any(|kept| {
        let baseline = base.values[*kept]["baseline"].as_str().map(|id| format!("evidence/{id}.yaml"));
        let mut alone = base.clone();
        alone.values.retain(|path, _| !of(path) || path == *kept || Some(path) == baseline.as_ref());
        let seen = Seen::of(load(&alone));
        seen.evaluation
            .duties
            .get(key)
            .and_then(|duty| duty.panels.get(panel))
            .is_some_and(|own| is_named(own))
    })
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
