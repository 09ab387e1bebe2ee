use super::*;
use crate::qualify::gaps::{GapsOptions, gaps, together};
use crate::report::fixture::{base, edited, fits, judged, keys};
use crate::report::page::Style;

#[test]
fn json_has_the_keys_that_are_held_to() {
    let all = base();
    let options = GapsOptions { milestone: Some("type-approval".into()), all: false };
    let got = json(&gaps(&all, &judged(&all), &options), &[]);
    assert_eq!(
        keys(&got),
        ["schema", "milestone", "duties", "counts", "asked_of_nothing", "altered", "trials", "caution"]
    );
    assert_eq!((&got["schema"], &got["milestone"]), (&json!("gaps/1"), &json!("type-approval")));
    assert_eq!(keys(&got["counts"]), ["conceded", "failed", "lapsed", "met", "open", "short"]);
    let duty = got["duties"].as_array().unwrap().iter().find(|one| one["showing"] == "compression").unwrap();
    let wanted = ["showing", "subject", "verdict", "asks", "needed_by", "panels", "because", "closes_with"];
    assert_eq!(keys(duty), wanted);
    assert_eq!((&duty["verdict"], &duty["asks"]), (&json!("short"), &json!("retest")));
    let wanted = ["kind", "specimens", "panels", "weeks", "cost", "missing", "prerequisites", "ways"];
    assert_eq!(keys(&duty["closes_with"]), wanted);
    assert_eq!(duty["closes_with"]["kind"], "test");
    assert_eq!(duty["closes_with"]["cost"], 3230.0);
    let unbound = json(&gaps(&all, &judged(&all), &GapsOptions::default()), &[]);
    assert_eq!(unbound["milestone"], Value::Null);
    let none: Vec<&Value> =
        unbound["duties"].as_array().unwrap().iter().filter(|one| one["needed_by"].is_null()).collect();
    assert_eq!(none.len(), 1);
}

#[test]
fn text_says_what_why_and_what_closes_it_by_milestone() {
    let all = base();
    let found = gaps(&all, &judged(&all), &GapsOptions::default());
    let got = text(&found, None, &[], None, &Frame::of(&all, 80, Style::default(), false));
    let expected = "\
6 duties: ● 1 met, ◇ 2 short, ◌ 3 open. 5 duties are not met.

Needed by first-flight (2)
◌ open     adhesion painted/sandwich+white
    asks retest; panel bow-hatch
    - evidence: nothing recorded; asks retest
    = closes with a test: 2 specimens from 1 panel, 0.0 weeks, 1 260 EUR
    and 1 more duty for the same reason:
      adhesion painted/solid+white

Needed by type-approval (1)
◇ short    compression lamina/cw@oven
    asks retest; panels bow-hatch, tail-fairing
    - evidence: under way: compression-1; asks retest
    = closes with a test: 11 specimens from 2 panels, 2.0 weeks, 3 230 EUR
    = or: a special factor on limit loads where a design value is uncertain (14
      CFR 23.2265)

Needed by some-day (1)
";
    assert!(got.starts_with(expected), "{got}");
    for part in ["Needed by no milestone (1)", "- sample: 1 of 6 specimens", "(5 duties)"] {
        assert!(got.contains(part), "{part} in\n{got}");
    }
}

#[test]
fn text_fits_with_and_without_the_plan_for_all() {
    let all = edited("areal: 200 g/m2", "areal: 240 g/m2");
    let evaluation = judged(&all);
    let found = gaps(&all, &evaluation, &GapsOptions { all: true, milestone: Some("nowhere".into()) });
    let plan = together(&all, &evaluation, &found);
    for width in [40, 60, 80] {
        for plan in [None, Some(&plan)] {
            let got = text(&found, plan, &[], None, &Frame::of(&all, width, Style::default(), false));
            fits(&got, width);
            assert_eq!(got.contains("What closes them together"), plan.is_some(), "{got}");
            assert!(got.contains("no milestone `nowhere`"), "{got}");
            let flat = got.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(flat.contains("first, and counted in: showing/tension lamina/cw@oven"), "{got}");
        }
    }
}

#[test]
fn a_ledger_without_duties_says_so() {
    let empty = crate::article::fixture::ledger("ledger: {format: 1, programme: p}");
    let got =
        text(&gaps(&empty, &judged(&empty), &GapsOptions::default()), None, &[], None, &Frame::default());
    assert!(got.starts_with("The ledger asks for nothing"), "{got}");
}
