use super::*;
use crate::qualify::fixture::{base, judged, today};
use crate::qualify::gaps::{GapsOptions, gaps};

fn ranked() -> Vec<NextTest> {
    ranked_of(&base())
}

fn ranked_of(all: &Ledger) -> Vec<NextTest> {
    let evaluation = judged(all);
    next_tests(all, &evaluation, &gaps(all, &evaluation, &GapsOptions::default())).unwrap()
}

/// By hand. The bow hatch still needs adhesion, compression, flatwise and modulus, the tail fairing adhesion,
/// compression and modulus; first-flight the two adhesions, flatwise and modulus, since what names no milestone
/// that the ledger lists is always needed, and type-approval compression too: of its five it is the only one that no
/// earlier milestone needs.
/// Modulus: 1/4 + 1/3 of the panels and 1/4 of a milestone. Compression: 1/4 + 1/3 and 1/5 in two weeks, for 3 230 EUR.
/// Mass: a quarter of the hatch and a third of the fairing, of both. Neither closes another duty or lets one begin.
#[test]
fn worth_is_the_sum_of_shares() {
    let all = ranked();
    let of = |showing: &str| all.iter().find(|one| one.showing == showing).unwrap();
    let near = |one: f64, two: f64| assert!((one - two).abs() < 1e-9, "{one} {two}");
    let modulus = of("modulus");
    let compression = of("compression");
    let all_of = base();
    let (weigher, pieces) = (Weigher::new(&all_of), counts(&all_of).unwrap());
    let kg = |panel: &str| weigher.panel_mass(panel).unwrap() * pieces.panels[panel].count as f64;
    let (hatch, fairing) = (kg("bow-hatch"), kg("tail-fairing"));
    let mass = (0.25 * hatch + fairing / 3.0) / (hatch + fairing);
    for (own, milestones) in [(modulus, 0.25), (compression, 0.2)] {
        near(own.worth.panels, 0.25 + 1.0 / 3.0);
        near(own.worth.milestones, milestones);
        near(own.worth.mass, mass);
        near(own.unlocked_kg, 0.25 * hatch + fairing / 3.0);
        assert_eq!((own.others, own.worth.duties), (0, 0.0));
        near(own.per_week(), (0.25 + 1.0 / 3.0 + milestones + mass) / own.plan.weeks.max(1.0));
    }
    near(compression.plan.weeks, 2.0);
    near(compression.per_thousand().unwrap(), (0.25 + 1.0 / 3.0 + 0.2 + mass) / 3.23);
    let part = |name: &str, closed, of| Part { name: name.to_string(), closed, of, conceded: 0 };
    assert_eq!(compression.panels, [part("bow-hatch", 1, 4), part("tail-fairing", 1, 3)]);
    assert_eq!(compression.milestones, [part("type-approval", 1, 5)]);
    assert!(compression.releasable_kg.abs() < 1e-12);
    // A test that closes several duties counts once: each duty stands in one row alone.
    let mut closed: Vec<&DutyKey> = all.iter().flat_map(|one| &one.closes).collect();
    let rows = closed.len();
    closed.sort();
    closed.dedup();
    assert_eq!((rows, closed.len()), (5, 5));
    assert!(all.is_sorted_by(|one, two| one.per_week() >= two.per_week()));
}

#[test]
fn what_one_record_holds_falls_with_it() {
    let all = base();
    let points = single_points(&all, &judged(&all), today());
    let said: Vec<(&str, usize, &[String], &[String])> = points
        .iter()
        .map(|one| (one.evidence.as_str(), one.lapses.len(), one.released.as_slice(), one.panels.as_slice()))
        .collect();
    let (released, panels) = (["bow-hatch".to_string()], ["bow-hatch", "tail-fairing"].map(str::to_string));
    assert_eq!(said, [("tension-1", 1, released.as_slice(), panels.as_slice())]);
    // With a second record of the same none of the two is a single point.
    let mut two = all.clone();
    let mut again = all.evidence["tension-1"].clone();
    again.id = "tension-2".to_string();
    two.evidence.insert(again.id.clone(), again);
    assert_eq!(single_points(&two, &judged(&two), today()), []);
}
