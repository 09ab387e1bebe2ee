//! Studies against brute force: every combination laid over the ledger and compared as `impact` compares.
//!
//! Everything here is invented.

use super::space::{Choice, Space};
use super::stacks::{StackRules, plain_layers};
use super::weigh::Weights;
use super::*;
use crate::article::weigh::programme_mass;
use crate::change::decide::overlay;
use crate::change::draft::bare;
use crate::change::impact::impact_of;
use crate::ledger::{Entry, MemoryRecall};
use crate::qualify::conform::conformity;
use crate::qualify::margins::margins_of;
use crate::qualify::verdict::{Verdict, evaluate};
use crate::record::{ComputedCheck, Level, Study};
use crate::report::page::{Frame, Style};
use crate::report::study::json;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::sync::Arc;

const FILES: [(&str, &str); 32] = [
    (
        "ledger.yaml",
        "format: 1\nprogramme: Test (invented)\ncurrency: EUR\nmilestones: [first-flight]\nclimate: {ambient: 43 degC, irradiance: 1120 W/m2, sky: 25 degC, wind: 1 m/s, structural_wind: 2 m/s}\nrates: {specimen: 100 EUR, panel_layup: 500 EUR, lab_week: 0 EUR}\nbudgets: {closures: 9 kg}\n",
    ),
    (
        "materials/ply.yaml",
        "kind: prepreg\nfibre: {name: hs-1, type: carbon, density: 1790 kg/m3, areal: 200 g/m2}\nresin: {name: ep-1, density: 1240 kg/m3, content: 37 %}\nform: twill\nlamina: {E1: 58 GPa, E2: 56 GPa, G12: 4 GPa, nu12: 0.05}\nstrength: {Xt: 550 MPa, Xc: 400 MPa, Yt: 530 MPa, Yc: 390 MPa, S: 70 MPa}\nwet_tg: 130 degC\n",
    ),
    (
        "materials/light.yaml",
        "kind: prepreg\nfibre: {name: hs-1, type: carbon, density: 1790 kg/m3, areal: 150 g/m2}\nresin: {name: ep-1, density: 1240 kg/m3, content: 39 %}\nform: twill\nlamina: {E1: 57 GPa, E2: 55 GPa, G12: 4 GPa, nu12: 0.05}\nstrength: {Xt: 540 MPa, Xc: 390 MPa, Yt: 520 MPa, Yc: 380 MPa, S: 68 MPa}\nwet_tg: 130 degC\n",
    ),
    (
        "materials/foam.yaml",
        "kind: core\ndensity: 60 kg/m3\nform: foam\nE: 70 MPa\nnu: 0.3\nshear_modulus: 20 MPa\nshear_strength: 0.9 MPa\ntensile_strength: 1.9 MPa\ncompressive_strength: 0.9 MPa\nresin_uptake: 120 g/m2\nservice_temperature: 130 degC\n",
    ),
    ("materials/film.yaml", "kind: adhesive\nareal: 150 g/m2\nwet_tg: 120 degC\n"),
    ("materials/mesh.yaml", "kind: mesh\nareal: 73 g/m2\nmetal: copper\nresin_fill: 50 g/m2\n"),
    ("materials/heavy-mesh.yaml", "kind: mesh\nareal: 142 g/m2\nmetal: copper\nresin_fill: 70 g/m2\n"),
    (
        "materials/glass.yaml",
        "kind: fabric\nareal: 300 g/m2\nfibre: {name: e-1, type: glass, density: 2550 kg/m3}\n",
    ),
    ("materials/resin.yaml", "kind: resin\ndensity: 1150 kg/m3\n"),
    ("materials/prime.yaml", "kind: coating\nrole: primer\ndry_density: 1500 kg/m3\n"),
    ("materials/white.yaml", "kind: coating\nrole: colour\ndry_density: 1400 kg/m3\n"),
    ("materials/clear.yaml", "kind: coating\nrole: clear\ndry_density: 1150 kg/m3\n"),
    (
        "processes/oven.yaml",
        "method: oven\ncure: [{ramp: 2 K/min, to: 120 degC, hold: 90 min}]\nvacuum: 900 mbar\n",
    ),
    (
        "processes/bleeding.yaml",
        "method: oven\ncure: [{ramp: 2 K/min, to: 120 degC, hold: 90 min}]\nbleed: 20 g/m2\n",
    ),
    ("processes/infusion.yaml", "method: infusion\ncure: {to: 60 degC, hold: 8 h}\n"),
    (
        "finishes/pale.yaml",
        "colour: {name: white, solar_absorptance: 0.30, emittance: 0.90}\ncoats:\n  - {material: prime, dry_film: 25 um +/- 5 um}\n  - {material: white, dry_film: 40 um +/- 5 um, removed: 5 um}\n  - {material: clear, dry_film: 40 um}\n",
    ),
    (
        "recipes/skin.yaml",
        "class: structural\nprocess: oven\nlayers:\n  - {material: mesh}\n  - {id: p1, material: ply, angle: 45}\n  - {id: p2, material: ply, angle: 0}\n  - {material: film}\n  - {material: foam, thickness: 6 mm}\n  - {material: film}\n  - {id: p3, material: ply, angle: 0}\n  - {id: p4, material: ply, angle: 45}\n",
    ),
    (
        "recipes/solid.yaml",
        "class: structural\nprocess: bleeding\nlayers:\n  - {material: ply, angle: 45}\n  - {material: ply, angle: 0}\n  - {material: ply, angle: 45}\nmirror: about-last\n",
    ),
    (
        "recipes/infused.yaml",
        "class: non-structural\nprocess: infusion\nlayers:\n  - {material: mesh}\n  - {material: glass, angle: 0}\n  - {material: foam, thickness: 5 mm}\n  - {material: glass, angle: 45}\nresin: {material: resin, content: 42 %}\n",
    ),
    (
        "panels/hatch.yaml",
        "group: closures\nclass: structural\nload_path: redundant\nquantity: 2\nreleased: true\nexposure: {zone: outdoor, lightning: 2A}\nzones: [{name: outer, area: 1 m2, recipe: skin, finish: pale}]\noverlap: 3 %\nloads:\n  - {name: pull, N: [60 N/mm, 20 N/mm, 15 N/mm], factor: 1.5}\n  - {name: push, N: [-35 N/mm, 0 N/mm, 10 N/mm], factor: 1.5}\n",
    ),
    (
        "panels/float.yaml",
        "class: structural\nload_path: redundant\nexposure: {zone: outdoor}\nzones: [{name: shell, area: 2 m2, recipe: solid, finish: pale}]\nloads: [{name: pull, N: [40 N/mm, 0 N/mm, 5 N/mm], factor: 1.5}]\n",
    ),
    (
        "panels/cover.yaml",
        "class: non-structural\nexposure: {zone: bay}\nzones: [{name: all, area: 0.5 m2, recipe: infused}]\n",
    ),
    (
        "showings/tension.yaml",
        "kind: lamina-strength-fibre\naccept: {mean_at_least: 500 MPa}\nenvironment: {name: RTD, temperature: 21 degC}\nplan: {specimens: 6, weeks: 3, equivalence: {specimens: 4, panels: 1}}\n",
    ),
    (
        "showings/modulus.yaml",
        "kind: lamina-modulus\naccept: {mean_at_least: 50 GPa}\nplan: {specimens: 4, weeks: 2}\n",
    ),
    (
        "showings/core-shear.yaml",
        "kind: core-shear\naccept: {mean_at_least: 0.5 MPa}\nplan: {specimens: 5, weeks: 4}\n",
    ),
    (
        "showings/zap.yaml",
        "kind: lightning\naccept: {statement: true}\nplan: {specimens: 1, weeks: 9, cost: 4000 EUR}\n",
    ),
    (
        "showings/adhesion.yaml",
        "kind: paint-adhesion\naccept: {rating_at_least: 4}\nplan: {specimens: 3, weeks: 2}\n",
    ),
    (
        "evidence/e-1.yaml",
        "showing: tension\nsubject: {lamina: [ply, oven]}\nkind: test\nstate: done\nresult: {value: 560 MPa}\n",
    ),
    (
        "evidence/e-2.yaml",
        "showing: modulus\nsubject: {lamina: [ply, oven]}\nkind: test\nstate: done\nresult: {value: 58 GPa}\n",
    ),
    (
        "evidence/e-3.yaml",
        "showing: core-shear\nsubject: {laminate: skin}\nkind: test\nstate: done\nresult: {value: 0.9 MPa}\n",
    ),
    (
        "evidence/e-4.yaml",
        "showing: zap\nsubject: {painted: [skin, pale]}\nkind: test\nstate: done\nresult: {statement: true}\n",
    ),
    (
        "evidence/e-5.yaml",
        "showing: adhesion\nsubject: {painted: [skin, pale]}\nkind: test\nstate: done\nresult: {rating: 5}\n",
    ),
];

/// The files, with others laid over them, and their evidence conformed to them as they stand.
fn texts(over: &[(&str, &str)]) -> BTreeMap<String, Vec<u8>> {
    let mut files: BTreeMap<String, String> =
        FILES.iter().chain(over).map(|(path, text)| ((*path).to_string(), (*text).to_string())).collect();
    let bytes = |files: &BTreeMap<String, String>| {
        files.iter().map(|(path, text)| (path.clone(), text.clone().into_bytes())).collect::<BTreeMap<_, _>>()
    };
    let ledger = Ledger::load(&Snapshot::in_memory(bytes(&files)), &MemoryRecall::new());
    assert!(!ledger.has_errors(), "{:?}", ledger.faults);
    for entry in ledger.evidence.values() {
        let block = conformity(&ledger, entry, Some("abc")).unwrap().block();
        files.get_mut(&entry.file).unwrap().push_str(&block);
    }
    bytes(&files)
}

pub(super) struct Bed {
    snapshot: Snapshot,
    pub(super) ledger: Ledger,
    evaluation: Evaluation,
    recall: MemoryRecall,
}

impl Bed {
    fn new() -> Self {
        Self::with(&[])
    }

    /// With other files laid over it.
    pub(super) fn with(over: &[(&str, &str)]) -> Self {
        let (snapshot, recall) = (Snapshot::in_memory(texts(over)), MemoryRecall::new());
        let ledger = Ledger::load(&snapshot, &recall);
        assert!(!ledger.has_errors(), "{:?}", ledger.faults);
        let evaluation = evaluate(&ledger, today()).unwrap();
        Self { snapshot, ledger, evaluation, recall }
    }

    pub(super) fn evaluation(&self) -> &Evaluation {
        &self.evaluation
    }

    pub(super) fn room(&self) -> Room<'_> {
        let Self { snapshot, ledger, evaluation, recall } = self;
        Room { ledger, snapshot, evaluation, today: today(), recall }
    }

    pub(super) fn run(&self, study: &str, seed: u64) -> Found {
        let options = StudyOptions { seed, stop: &|| None, progress: &|_| {} };
        run(&self.room(), &entry(study), &options).unwrap()
    }
}

pub(super) fn today() -> Day {
    Day::parse("2026-06-01").unwrap()
}

pub(super) fn entry(study: &str) -> Entry<Study> {
    let value: Study = serde_yaml::from_str(study).unwrap();
    Entry { id: "s".to_string(), file: "studies/s.yaml".to_string(), value: Arc::new(value) }
}

/// Every choice of a space.
pub(super) fn all_choices(space: &Space) -> Vec<Choice> {
    let mut all: Vec<Choice> = vec![Vec::new()];
    for variation in &space.variations {
        all = all
            .into_iter()
            .flat_map(|begun| {
                (0..variation.options.len()).map(move |option| {
                    let mut choice = begun.clone();
                    choice.push(option as u16);
                    choice
                })
            })
            .collect();
    }
    all.into_iter().filter(|choice| !space.contradicts(choice)).collect()
}

/// What a candidate comes to: kg of difference, weeks, and between what the cost lies.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Comes {
    kg: f64,
    weeks: f64,
    least: f64,
    most: f64,
    /// The tests, where their cost is not known.
    tests: String,
}

/// What a candidate comes to, found without anything of the search: by `impact`, by margins, by rules written
/// down once more.
pub(super) fn by_impact(bed: &Bed, space: &Space, study: &Study, choice: &[u16]) -> Option<Comes> {
    let decision = bare(space.changes(choice));
    let texts = overlay(&bed.ledger, &bed.snapshot, &[&decision]).ok()?;
    let head = Ledger::load(&bed.snapshot.overlay(texts), &bed.recall);
    if head.faults.iter().any(|fault| fault.level == Level::Error) {
        return None;
    }
    let after = evaluate(&head, today()).unwrap();
    let found = impact_of((&bed.ledger, "a"), &bed.evaluation, (&head, "b"), &after).unwrap();
    if found.duties.iter().any(|row| row.is_worse() && row.now == Verdict::Failed) {
        return None;
    }
    let keep = study.keep.clone().unwrap_or_default();
    if let Some(limit) = &keep.margins {
        for moved in &found.margins {
            let now = margins_of(&head, &after.duties, &moved.panel).unwrap();
            let was = margins_of(&bed.ledger, &bed.evaluation.duties, &moved.panel).unwrap();
            for own in now.of(ComputedCheck::Margins) {
                let same = |old: &&crate::qualify::margins::Margin| {
                    (&old.case, &old.place, old.criterion, old.check)
                        == (&own.case, &own.place, own.criterion, own.check)
                };
                let then = was.of(ComputedCheck::Margins).find(same).map_or(f64::INFINITY, |old| old.margin);
                if own.margin < limit.si().min(then - 1e-6) {
                    return None;
                }
            }
            if now.of(ComputedCheck::Margins).count() < was.of(ComputedCheck::Margins).count() {
                return None;
            }
        }
    }
    for (id, recipe) in &head.recipes {
        let layers = plain_layers(&head, recipe).unwrap();
        if layers == plain_layers(&bed.ledger, bed.ledger.recipes.get(id).unwrap()).unwrap() {
            continue;
        }
        let structure: Vec<_> = layers
            .iter()
            .filter(|layer| layer.ply.is_some() || layer.role == crate::article::LayerRole::Core)
            .map(|layer| (&layer.material, layer.ply.map(|ply| ply.angle), layer.thickness))
            .collect();
        let mut back = structure.clone();
        back.reverse();
        if keep.symmetric == Some(true) && structure != back {
            return None;
        }
        let plies: Vec<_> = layers.iter().filter_map(|layer| layer.ply).collect();
        if let Some(surface) = &keep.surface {
            let angle = (surface.si().to_degrees() * 10.0).round() as i32;
            let outer = [plies.first(), plies.last()];
            if outer.into_iter().flatten().any(|ply| ply.angle.abs() != angle) {
                return None;
            }
        }
        if let Some(share) = &keep.share_per_direction {
            // All plies of these ledgers are weaves: half of the fibre runs along, half across.
            let total: f64 = plies.iter().map(|ply| ply.fibre).sum();
            let of = |angles: &[i32]| -> f64 {
                plies.iter().filter(|ply| angles.contains(&ply.angle)).map(|ply| ply.fibre).sum()
            };
            let (straight, slanted) = (of(&[0, 900]), of(&[450, -450]));
            if (straight / 2.0).min(slanted) < share.si() * total - 1e-12 {
                return None;
            }
        }
    }
    let limits = study.limits.clone().unwrap_or_default();
    if limits.weeks.is_some_and(|most| found.retest.weeks > most) {
        return None;
    }
    let least = found.retest.steps.iter().filter_map(|step| step.cost).sum();
    let most = found.retest.cost.unwrap_or(f64::INFINITY);
    // A limit is kept where it is shown to be.
    if limits.cost.is_some_and(|limit| most > limit.amount()) {
        return None;
    }
    let tested = found.retest.steps.iter().filter(|step| step.kind.is_tested());
    let tests: Vec<_> = tested.map(|step| (step.name(), step.specimens, step.panels)).collect();
    let tests = tests_of(found.retest.cost, &tests, &found.retest.missing);
    Some(Comes { kg: found.mass.1 - found.mass.0, weeks: found.retest.weeks, least, most, tests })
}

pub(super) fn milligrams(kg: f64) -> i64 {
    (kg * 1e6).round() as i64
}

/// Figures to the milligram, the millionth of a week and the cent; `i64::MAX` for a cost without an upper end.
/// Last the tests, where their cost is not known.
type Figures = (i64, i64, i64, i64, String);

fn tests_of(cost: Option<f64>, tests: &[(String, u32, u32)], missing: &[String]) -> String {
    if cost.is_some() { String::new() } else { format!("{tests:?} {missing:?}") }
}

fn figures((kg, weeks): (f64, f64), (least, most): (f64, f64), tests: &str) -> Figures {
    let cents = |cost: f64| if cost.is_finite() { (cost * 100.0).round() as i64 } else { i64::MAX };
    (milligrams(kg), (weeks * 1e6).round() as i64, cents(least), cents(most), tests.to_string())
}

/// The best of a list by definition: each against each. What may cost more is no better than what costs less for
/// sure, and of two costs that are not known neither says anything of the other, but where the tests are the same.
pub(super) fn best_of(all: &[Comes]) -> Vec<Figures> {
    let of = |own: &Comes| figures((own.kg, own.weeks), (own.least, own.most), &own.tests);
    let all: Vec<Figures> = all.iter().map(of).collect();
    let beats = |one: &Figures, two: &Figures| {
        let same = one.3 == i64::MAX && two.3 == i64::MAX && (one.2, &one.4) == (two.2, &two.4);
        let cheaper = one.3 <= two.2 && one.3 != i64::MAX;
        one.0 <= two.0 && one.1 <= two.1 && (cheaper || same) && one != two
    };
    let mut kept: Vec<Figures> =
        all.iter().filter(|own| !all.iter().any(|other| beats(other, own))).cloned().collect();
    kept.sort_unstable();
    kept.dedup();
    // What gets no lighter is no row.
    kept.retain(|own| own.0 < 0);
    kept
}

pub(super) fn rows_of(found: &Found) -> Vec<Figures> {
    let own = |own: &Ranked| {
        let row = &own.row;
        let tests = tests_of(row.cost, &row.tests, &row.missing);
        figures((row.delta, row.weeks), (row.known_cost, row.cost.unwrap_or(f64::INFINITY)), &tests)
    };
    // The lightest free row stands there beside the best.
    let best = found.rows.iter().filter(|row| row.proven);
    let mut rows: Vec<_> = best.map(own).collect();
    rows.sort_unstable();
    rows.dedup();
    rows
}

/// Holds what a study answers against every combination.
pub(super) fn as_by_brute_force(bed: &Bed, text: &str) -> usize {
    let entry = entry(text);
    let space = Space::of(&bed.ledger, &entry.value).unwrap();
    let choices = all_choices(&space);
    let all: Vec<Comes> =
        choices.iter().filter_map(|choice| by_impact(bed, &space, &entry.value, choice)).collect();
    let found = bed.run(text, 1);
    assert_eq!((found.ended, found.bound), (Ended::Whole, None), "{text}");
    assert_eq!(rows_of(&found), best_of(&all), "{text}");
    assert!(found.judged <= choices.len());
    choices.len() - all.len()
}

pub(super) const CORE: &str =
    "{name: core, attribute: recipe/skin#layers.5.thickness, from: 4 mm, to: 6 mm, step: 1 mm}";
pub(super) const P1: &str = "{name: outer, attribute: [recipe/skin#layers.p1.material, recipe/skin#layers.p4.material], among: [light]}";
pub(super) const P3: &str = "{name: p3, attribute: recipe/skin#layers.p3, drop: true}";
pub(super) const ANGLE: &str =
    "{name: turn, attribute: [recipe/skin#layers.p2.angle, recipe/skin#layers.p3.angle], among: [45]}";
pub(super) const MESH: &str = "{name: mesh, attribute: recipe/skin#layers.1.material, among: [heavy-mesh]}";
pub(super) const CLEAR: &str =
    "{name: clear, attribute: finish/pale#coats.3.dry_film, among: [30 um, 20 um]}";
pub(super) const WHITE: &str =
    "{name: white, attribute: finish/pale#coats.2.dry_film, from: 30 um, to: 40 um, step: 5 um}";
pub(super) const RESIN: &str = "{name: resin, attribute: material/ply#resin.content, among: [36 %, 34 %]}";
pub(super) const SOLID: &str = "{name: solid, attribute: recipe/solid#layers.2, drop: true}";
pub(super) const GLASS: &str = "{name: glass, attribute: recipe/infused#layers.4, drop: true}";
pub(super) const INFUSED: &str = "{name: foam, attribute: recipe/infused#layers.3.thickness, among: [3 mm]}";
pub(super) const LAPS: &str = "{name: laps, attribute: panel/hatch#overlap, among: [1 %]}";
pub(super) const BLEED: &str = "{name: bleed, attribute: process/bleeding#bleed, among: [30 g/m2]}";

pub(super) fn study(vary: &[&str], rest: &str) -> String {
    let vary: String = vary.iter().map(|one| format!("  - {one}\n")).collect();
    format!("vary:\n{vary}{rest}")
}

#[test]
fn a_small_space_is_answered_as_by_brute_force() {
    let bed = Bed::new();
    let mut thrown = 0;
    for text in [
        study(&[CORE, CLEAR, P3], ""),
        study(&[CORE, P1, RESIN], "keep: {margins: 0.2}\n"),
        study(&[P1, P3, ANGLE, CLEAR], "keep: {symmetric: true, margins: 0.1}\n"),
        study(&[ANGLE, CORE, WHITE], "keep: {surface: 45, share_per_direction: 10 %}\n"),
        study(&[MESH, CLEAR, SOLID, CORE], "limits: {weeks: 8}\n"),
        study(&[RESIN, SOLID, GLASS, INFUSED], "keep: {margins: 0.05, temperature: true, budgets: true}\n"),
    ] {
        thrown += as_by_brute_force(&bed, &text);
    }
    assert!(thrown > 10, "the criteria throw nothing out");
}

#[test]
fn masses_add_up_over_blocks_as_the_whole_weighs() {
    let bed = Bed::new();
    // What weighs apart is kept apart, or nothing is gained; what meets is weighed together.
    let apart = [CORE, P1, P3, ANGLE, MESH, CLEAR, WHITE, SOLID, GLASS, INFUSED];
    let meets = [CORE, P1, P3, MESH, CLEAR, RESIN, SOLID, INFUSED, LAPS, BLEED];
    for (vary, blocks) in [(&apart, 8), (&meets, 2)] {
        masses_add_up(&bed, &study(vary, ""), blocks);
    }
}

pub(super) fn weighed(bed: &Bed, space: &Space) -> Weights {
    let options = StudyOptions { seed: 1, stop: &|| None, progress: &|_| {} };
    Weights::of(&bed.room(), space, &options).unwrap()
}

fn masses_add_up(bed: &Bed, text: &str, blocks: usize) {
    let space = Space::of(&bed.ledger, &entry(text).value).unwrap();
    let weights = weighed(bed, &space);
    assert_eq!(weights.blocks.len(), blocks);
    let base = programme_mass(&bed.ledger).unwrap();
    let options: Vec<usize> = space.variations.iter().map(|one| one.options.len()).collect();
    let drawn = proptest::collection::vec(any::<u16>(), options.len());
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig::with_cases(96));
    runner
        .run(&drawn, |drawn| {
            let choice: Choice =
                drawn.iter().zip(&options).map(|(own, count)| own % u16::try_from(*count).unwrap()).collect();
            let Some(ranks) = weights.ranks(&choice) else { return Ok(()) };
            prop_assert_eq!(&weights.choice(&space, &ranks), &choice);
            let head = bed.room().load(&space, &choice).unwrap();
            let whole = programme_mass(&head).unwrap() - base;
            prop_assert!((whole - weights.delta(&ranks)).abs() < 1e-9, "{} {}", whole, weights.delta(&ranks));
            Ok(())
        })
        .unwrap();
}

#[test]
fn candidates_come_the_lightest_first_and_each_once() {
    let bed = Bed::new();
    let text = study(&[CORE, P3, MESH, CLEAR, WHITE, SOLID], "");
    let space = Space::of(&bed.ledger, &entry(&text).value).unwrap();
    let weights = weighed(&bed, &space);
    let all: Vec<_> = search::Frontier::new(&weights).collect();
    assert_eq!(all.len() as u128, weights.candidates());
    assert!(all.windows(2).all(|pair| pair[0].1 <= pair[1].1));
    let mut choices: Vec<Choice> = all.iter().map(|(ranks, _)| weights.choice(&space, ranks)).collect();
    choices.sort();
    let mut expected = all_choices(&space);
    expected.retain(|choice| weights.ranks(choice).is_some());
    expected.sort();
    assert_eq!(choices, expected);
}

#[test]
fn where_not_all_are_looked_at_the_gap_is_honest_and_the_answer_says_why() {
    let bed = Bed::new();
    let text =
        study(&[CORE, CLEAR, P1, P3, MESH, RESIN], "keep: {margins: 0.1}\nlimits: {variations: 100000}\n");
    let truth = bed.run(&text, 1);
    assert_eq!(truth.ended, Ended::Whole);
    let mut short = 0;
    for most in [1, 8, 40] {
        let options = StudyOptions { seed: 1, stop: &|| None, progress: &|_| {} };
        let found = search::run_looking(&bed.room(), &entry(&text), &options, most).unwrap();
        assert_eq!(found.ended, Ended::Looked, "{most}");
        assert!(found.looked_at < truth.looked_at);
        let frame = Frame::of(&bed.ledger, 80, Style { colour: false }, false);
        let said = crate::report::study::text(&found, None, &frame);
        assert!(said.contains("looked at, the most that are"), "{said}");
        for own in &found.rows {
            let no_worse = truth.rows.iter().filter(|other| {
                other.row.weeks <= own.row.weeks && other.row.known_cost <= own.row.known_cost + 1e-9
            });
            let lightest = no_worse.map(|other| other.row.delta).fold(f64::INFINITY, f64::min);
            assert!(own.row.delta - lightest <= own.gap + 1e-9);
            short += usize::from(own.gap > 0.0);
        }
    }
    assert!(short > 0, "no search stopped short of anything");
}

#[test]
fn where_not_all_are_judged_the_gap_is_honest() {
    let bed = Bed::new();
    let mut gaps = 0;
    for (vary, most) in
        [(vec![CORE, CLEAR, P1, P3, MESH, RESIN], 24), (vec![CORE, WHITE, CLEAR, ANGLE, SOLID], 20)]
    {
        let whole = study(&vary, "keep: {margins: 0.1}\nlimits: {variations: 100000}\n");
        let truth = bed.run(&whole, 1);
        assert_eq!(truth.ended, Ended::Whole);
        for seed in [1, 2, 7] {
            let text = study(&vary, &format!("keep: {{margins: 0.1}}\nlimits: {{variations: {most}}}\n"));
            let found = bed.run(&text, seed);
            assert!(found.judged <= most + 16, "{}", found.judged);
            for own in &found.rows {
                // The lightest that is no worse in weeks and cost.
                let better = truth.rows.iter().filter(|other| {
                    other.row.weeks <= own.row.weeks && other.row.known_cost <= own.row.known_cost + 1e-9
                });
                let lightest = better.map(|other| other.row.delta).fold(f64::INFINITY, f64::min);
                assert!(
                    own.row.delta - lightest <= own.gap + 1e-9,
                    "{} {lightest} {}",
                    own.row.delta,
                    own.gap
                );
                if own.proven {
                    assert!(own.gap <= 0.0);
                    let same = truth.rows.iter().any(|other| {
                        milligrams(other.row.delta) == milligrams(own.row.delta)
                            && other.row.weeks == own.row.weeks
                    });
                    assert!(same, "a proven row that the whole search does not have");
                }
                gaps += usize::from(own.gap > 0.0);
            }
        }
    }
    assert!(gaps > 0, "nothing was left unproved: the test tests nothing");
}

#[test]
fn the_answer_depends_on_the_seed_and_on_nothing_else() {
    let bed = Bed::new();
    let text = study(&[CORE, CLEAR, P1, P3, MESH, RESIN], "keep: {margins: 0.1}\nlimits: {variations: 40}\n");
    let answer = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
        json(&pool.install(|| bed.run(&text, 3)), None).to_string()
    };
    let one = answer(1);
    assert_eq!(one, answer(4));
    assert_eq!(one, answer(3));
}

#[test]
fn impact_of_a_draft_says_what_its_row_says() {
    let bed = Bed::new();
    let text = study(&[CORE, P3, CLEAR, SOLID], "");
    let found = bed.run(&text, 1);
    assert!(found.rows.len() > 1);
    for own in &found.rows {
        let draft = draft::draft("s", None, own, today());
        let (id, text) = (draft.id(1), draft.text().unwrap());
        assert!(id.starts_with("dd-001-"), "{id}");
        let file = format!("decisions/{id}.yaml");
        let mut files = texts(&[]);
        files.insert(file.clone(), text.clone().into_bytes());
        let snapshot = Snapshot::in_memory(files);
        let ledger = Ledger::load(&snapshot, &bed.recall);
        let faults: Vec<_> = ledger.faults.iter().filter(|fault| fault.place.file == file).collect();
        assert!(faults.is_empty(), "{faults:?}\n{text}");
        let decision = &ledger.decision(&id).unwrap().value;
        let head =
            Ledger::load(&snapshot.overlay(overlay(&ledger, &snapshot, &[decision]).unwrap()), &bed.recall);
        let (before, after) = (evaluate(&ledger, today()).unwrap(), evaluate(&head, today()).unwrap());
        let impact = impact_of((&ledger, "a"), &before, (&head, "b"), &after).unwrap();
        let row = &own.row;
        assert!((impact.mass.1 - impact.mass.0 - row.delta).abs() < 1e-12);
        let retest = &impact.retest;
        assert_eq!(
            (retest.weeks, retest.specimens, retest.panels, retest.cost),
            (row.weeks, row.specimens, row.panels, row.cost)
        );
        assert_eq!(impact.grounded, row.grounded);
        assert_eq!(impact.cost, row.unit_cost);
        let worse: Vec<_> = impact
            .duties
            .iter()
            .filter(|duty| duty.is_worse())
            .map(|duty| (duty.showing.clone(), duty.subject.clone()))
            .collect();
        assert_eq!(worse, row.duties.iter().map(|duty| duty.0.clone()).collect::<Vec<_>>());
    }
}

#[test]
fn a_search_that_is_stopped_says_how_far_it_came() {
    let bed = Bed::new();
    let text = study(&[CORE, CLEAR, P1, P3], "");
    let judged = std::sync::atomic::AtomicUsize::new(0);
    let stop = || (judged.load(std::sync::atomic::Ordering::Relaxed) > 0).then_some(Ended::Interrupted);
    let progress = |own: &Progress| judged.store(own.judged, std::sync::atomic::Ordering::Relaxed);
    let options = StudyOptions { seed: 1, stop: &stop, progress: &progress };
    let found = run(&bed.room(), &entry(&text), &options).unwrap();
    assert_eq!(found.ended, Ended::Interrupted);
    assert!(found.bound.is_some() && found.judged > 0);
    assert!(found.rows.iter().all(|row| !row.proven && row.gap > 0.0));
}

#[test]
fn what_meets_in_too_many_combinations_is_refused() {
    let bed = Bed::new();
    let many = "{attribute: recipe/infused#layers.3.thickness, from: 1 mm, to: 20 mm, step: 0.1 mm}";
    let more = "{attribute: recipe/infused#resin.content, from: 36 %, to: 48 %, step: 0.1 %}";
    let options = StudyOptions { seed: 1, stop: &|| None, progress: &|_| {} };
    let problem = run(&bed.room(), &entry(&study(&[many, more], "")), &options).unwrap_err();
    assert!(matches!(problem, StudyError::Interwoven { .. }), "{problem}");
    assert!(StackRules::default().is_empty());
}

/// A stack of weaves or tapes by their angles; `None` is a core.
fn stack(plies: &[Option<i32>], woven: bool) -> Vec<Vec<Option<stacks::PlainLayer>>> {
    let layer = |angle: &Option<i32>| stacks::PlainLayer {
        place: 1,
        role: if angle.is_some() { crate::article::LayerRole::Ply } else { crate::article::LayerRole::Core },
        material: angle.map_or("foam", |_| "ply").to_string(),
        thickness: 0.2e-3,
        areal: 0.3,
        turned: f64::from(angle.unwrap_or(0)).to_radians(),
        ply: angle.map(|angle| stacks::PlainPly { angle: angle * 10, woven, fibre: 0.2 }),
        asked: None,
        mechanics: mechanics::Mechanics::NoRoom,
    };
    plies.iter().map(|angle| vec![Some(layer(angle))]).collect()
}

fn refused(plies: &[Option<i32>], woven: bool, rules: StackRules) -> Option<stacks::StackRule> {
    let space = stacks::StackSpace::of_places("x", &stack(plies, woven), rules);
    let ranks = vec![0; plies.len()];
    let found = space.judge(&[(&ranks, true)], &mut space.scratch());
    found.into_iter().next().flatten().map(|own| own.rule)
}

#[test]
fn rules_of_the_lay_up_know_a_good_laminate_from_a_bad_one() {
    use stacks::StackRule::*;
    let ply = |angles: &[i32]| angles.iter().map(|angle| Some(*angle)).collect::<Vec<_>>();
    // The quasi-isotropic laminate keeps every rule of thumb: CMH-17 volume 3 (from memory).
    let quasi = ply(&[45, 0, -45, 90, 90, -45, 0, 45]);
    let all = StackRules {
        symmetric: true,
        balanced: true,
        same_angle: Some(4),
        share: Some(0.1),
        surface: Some(450),
    };
    assert_eq!(refused(&quasi, false, all), None);
    let one = |own: StackRules| own;
    let symmetric = one(StackRules { symmetric: true, ..StackRules::default() });
    assert_eq!(refused(&ply(&[0, 45, -45, 0]), false, symmetric), Some(Symmetric));
    assert_eq!(refused(&[Some(45), None, Some(45)], false, symmetric), None);
    assert_eq!(refused(&[Some(45), None, Some(45), Some(0)], false, symmetric), Some(Symmetric));
    let balanced = one(StackRules { balanced: true, ..StackRules::default() });
    assert_eq!(refused(&ply(&[45, 0, -45]), false, balanced), None);
    assert_eq!(refused(&ply(&[45, 0, 45]), false, balanced), Some(Balanced));
    // A weave at 45 runs both ways; at 30 it needs its mirror image.
    assert_eq!(refused(&ply(&[45, 0, 45]), true, balanced), None);
    assert_eq!(refused(&ply(&[30, 0]), true, balanced), Some(Balanced));
    assert_eq!(refused(&ply(&[30, -30]), true, balanced), None);
    let same = one(StackRules { same_angle: Some(2), ..StackRules::default() });
    assert_eq!(refused(&ply(&[0, 0, 45, 0]), false, same), None);
    assert_eq!(refused(&ply(&[45, 0, 0, 0]), false, same), Some(SameAngle));
    assert_eq!(refused(&[Some(0), Some(0), None, Some(0), Some(0)], false, same), None, "a core parts them");
    let share = one(StackRules { share: Some(0.1), ..StackRules::default() });
    assert_eq!(refused(&ply(&[0, 0, 0, 0, 0, 0, 0, 45, -45, 90]), false, share), None);
    assert_eq!(refused(&ply(&[0, 0, 0, 0, 0, 0, 0, 0, 0, 45, 90]), false, share), Some(Share));
    assert_eq!(refused(&ply(&[0, 45]), true, share), None, "a weave at 0 runs at 90 too");
    let surface = one(StackRules { surface: Some(450), ..StackRules::default() });
    assert_eq!(refused(&ply(&[-45, 0, 45]), false, surface), None);
    assert_eq!(refused(&ply(&[45, 0, 0]), false, surface), Some(Surface));
}
