use super::*;
use crate::article::fixture::ledger;
use crate::qualify::fixture::{base, edited, judged, today};

fn names(gaps: &Gaps) -> Vec<String> {
    gaps.duties.iter().map(|gap| format!("{} {}", gap.showing, gap.subject)).collect()
}

#[test]
fn the_earliest_milestone_comes_first_and_none_last() {
    let all = base();
    let found = gaps(&all, &judged(&all), &GapsOptions::default());
    let expected = [
        "adhesion painted/sandwich+white",
        "adhesion painted/solid+white",
        "compression lamina/cw@oven",
        "flatwise laminate/sandwich",
        "modulus lamina/cw@oven",
    ];
    assert_eq!(names(&found), expected);
    let expected = [("conceded", 0), ("failed", 0), ("lapsed", 0), ("met", 1), ("open", 3), ("short", 2)];
    assert_eq!(found.counts.iter().map(|(word, n)| (*word, *n)).collect::<Vec<_>>(), expected);
}

#[test]
fn the_gravest_comes_first_within_a_milestone() {
    // The lapse of tension asks retest as the short compression does, and is graver.
    let all = edited("areal: 200 g/m2", "areal: 240 g/m2");
    let found = gaps(&all, &judged(&all), &GapsOptions::default());
    let order: Vec<(&str, Verdict)> = found
        .duties
        .iter()
        .filter(|gap| gap.needed_by.as_deref() == Some("type-approval"))
        .map(|gap| (gap.showing.as_str(), gap.verdict))
        .collect();
    assert_eq!(order, [("tension", Verdict::Lapsed), ("compression", Verdict::Short)]);
}

#[test]
fn a_milestone_leaves_out_what_is_needed_later_only() {
    let all = base();
    let evaluation = judged(&all);
    let until = |name: &str| GapsOptions { milestone: Some(name.to_string()), ..Default::default() };
    let found = gaps(&all, &evaluation, &until("first-flight"));
    // What has no milestone, or one that the ledger does not list, is always needed.
    let expected = [
        "adhesion painted/sandwich+white",
        "adhesion painted/solid+white",
        "flatwise laminate/sandwich",
        "modulus lamina/cw@oven",
    ];
    assert_eq!(names(&found), expected);
    assert!(!found.unknown_milestone);
    assert_eq!(found.counts.values().sum::<usize>(), evaluation.duties.len());
    let unknown = gaps(&all, &evaluation, &until("first-fligt"));
    assert!(unknown.unknown_milestone);
    assert_eq!(unknown.duties.len(), 5);
    let whole = gaps(&all, &evaluation, &GapsOptions::default());
    assert_eq!(whole.up_to(&all, "first-flight"), found);
    assert_eq!(whole.up_to(&all, "first-fligt"), unknown);
    let with_met = gaps(&all, &evaluation, &GapsOptions { all: true, ..Default::default() });
    assert_eq!(with_met.duties.len(), 6);
    let met = with_met.duties.iter().find(|gap| gap.verdict == Verdict::Met).unwrap();
    assert_eq!((met.showing.as_str(), met.closes_with.kind), ("tension", None));
    assert_eq!(met.panels, ["bow-hatch", "tail-fairing"]);
}

#[test]
fn readiness_is_what_gaps_counts_up_to_each_milestone() {
    let all = base();
    let evaluation = judged(&all);
    let own = evaluation.duties.values().map(|duty| (duty.needed_by.as_deref(), duty.verdict()));
    let (counted, ready) = tally(&all, own);
    assert_eq!(counted, counts(&evaluation));
    let milestones: Vec<&str> = ready.iter().map(|own| own.milestone.as_str()).collect();
    let listed = all.head.as_ref().unwrap().milestones.iter().map(|name| name.as_str());
    assert_eq!(milestones, listed.collect::<Vec<_>>());
    for own in &ready {
        let options = GapsOptions { milestone: Some(own.milestone.clone()), all: true };
        let due = gaps(&all, &evaluation, &options).duties;
        let closed = due.iter().filter(|gap| gap.verdict.is_closed()).count();
        assert_eq!((own.duties, own.closed), (due.len(), closed), "{}", own.milestone);
    }
    assert!(ready.windows(2).any(|pair| pair[0].duties < pair[1].duties), "{ready:?}");
}

/// By hand: ten specimens and a tenth of them spare are 11; two batches of one panel are 2 panels;
/// 11 x 130 EUR + 2 x 900 EUR = 3230 EUR; 2 weeks. Tension before it: 2 specimens more, cut from the same
/// 2 panels, 13 x 130 + 2 x 900 = 3490 EUR, 2 weeks, and compression starts after it.
#[test]
fn what_closes_a_duty_counts_what_has_to_come_first() {
    let all = base();
    let of = |all: &Ledger, showing: &str| -> ClosesWith {
        let found = gaps(all, &judged(all), &GapsOptions::default());
        found.duties.into_iter().find(|gap| gap.showing == showing).unwrap().closes_with
    };
    let alone = of(&all, "compression");
    assert_eq!(alone.kind, Some(StepKind::Test));
    assert_eq!((alone.specimens, alone.panels, alone.cost), (11, 2, Some(3230.0)));
    assert!((alone.weeks - 2.0).abs() < 1e-12 && alone.prerequisites.is_empty());
    let lapsed = edited("areal: 200 g/m2", "areal: 240 g/m2");
    let after = of(&lapsed, "compression");
    assert_eq!((after.specimens, after.panels, after.cost), (13, 2, Some(3490.0)));
    assert!((after.weeks - 4.0).abs() < 1e-12);
    assert_eq!(after.prerequisites, ["showing/tension lamina/cw@oven"]);
    // The difference asks for an analysis, but one of six specimens is no baseline that it could lean on.
    assert_eq!(of(&lapsed, "modulus").kind, Some(StepKind::Test));
    assert!(of(&lapsed, "tension").ways.iter().any(|way| way.starts_with("undo: fibre-areal")));
    // Together tension is made once.
    let evaluation = judged(&lapsed);
    let plan = together(&lapsed, &evaluation, &gaps(&lapsed, &evaluation, &GapsOptions::default()));
    assert_eq!(plan.steps.iter().filter(|step| step.showing == "tension").count(), 1);
}

#[test]
fn concessions_are_live_until_their_last_day_and_with_their_approvals() {
    let text = "
ledger: {format: 1, programme: p, approvals: {concession: [lead]}}
concessions:
  good: {showing: s, subject: {panel: p}, reason: r, covers: failed, until: 2026-03-14, approvals: [{role: lead, on: 2026-01-01}]}
  ended: {showing: s, subject: {panel: p}, reason: r, covers: failed, until: 2026-03-13, approvals: [{role: lead, on: 2026-01-01}]}
  unsigned: {showing: s, subject: {panel: p}, reason: r, covers: failed, until: 2027-01-01}
";
    assert_eq!(live_concessions(&ledger(text), today()), ["good"]);
}
