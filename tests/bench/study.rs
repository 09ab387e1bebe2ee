//! Times studies: candidate stacks looked up in plain values, and whole studies of the example.
//!
//! `cargo bench --bench study` prints how many candidate stacks a core judges in a second, each by all stacking
//! rules and by A, B, D and first-ply failure (Tsai-Wu), with strengths that are typed and with strengths from
//! showings; how that grows with threads; how many candidates a whole search looks at in a second; and how the time
//! of whole studies of the example grows with the number of variations. Medians and bests are printed, and no time
//! is asserted. All values are invented.

use bondline::article::LayerRole;
use bondline::change::study::mechanics::{Mechanics, Plies, StackLoad};
use bondline::change::study::space::Space;
use bondline::change::study::stacks::{PlainLayer, PlainPly, StackRules, StackSpace};
use bondline::change::study::weigh::Weights;
use bondline::change::study::{Criterion, Room, StudyOptions, run};
use bondline::laminate::{
    Criterion as PlyCriterion, JudgedLayer, Lamina, Load, PlyStrength, PreparedLayer, first_ply_prepared,
};
use bondline::ledger::{Entry, Ledger, MemoryRecall};
use bondline::qualify::verdict::evaluate;
use bondline::record::{Day, Study};
use bondline::source::Snapshot;
use rayon::prelude::*;
use std::collections::BTreeMap;
use std::hint::black_box;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::Instant;

type Error = Box<dyn std::error::Error + Send + Sync>;

const PLIES: usize = 16;
const STACKS: usize = 20_000;
const ROUNDS: usize = 15;
/// Stacks judged at once, as a search has them.
const SLICE: usize = 256;

fn main() -> ExitCode {
    match stacks().and_then(|()| searches()).and_then(|()| studies()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::FAILURE
        }
    }
}

const LOAD: Load = Load { force: [1e5, 2e4, 1e4], moment: [10.0, 5.0, 2.0], temperature: 0.0 };

/// The kinds of [`space`], as the way of one stack has them.
fn plies() -> Result<Vec<PreparedLayer>, Error> {
    let mut all = Vec::new();
    for (_, e1, thickness) in TAPES {
        let lamina = Lamina { e1, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 0.0 };
        for angle in [0, 45, -45, 90] {
            let angle = f64::from(angle).to_radians();
            let layer = JudgedLayer { lamina, angle, thickness, strength: Some(STRENGTH) };
            all.push(PreparedLayer::new(&layer, PlyCriterion::TSAI_WU)?);
        }
    }
    Ok(all)
}

const TAPES: [(&str, f64, f64); 2] = [("tape-a", 138e9, 0.13e-3), ("tape-b", 150e9, 0.2e-3)];
const STRENGTH: PlyStrength = PlyStrength {
    xt: Some(1500e6),
    xc: Some(1200e6),
    yt: Some(50e6),
    yc: Some(250e6),
    s: Some(70e6),
    s23: None,
};

/// Eight kinds of ply, or none, at each of sixteen places; with strengths that are typed or from showings, and the
/// least reserve factor that is kept.
fn space(rules: StackRules, shown: bool, least: f64) -> StackSpace {
    let (mut kinds, mut plies) = (Vec::new(), Plies::new());
    for (material, e1, thickness) in TAPES {
        let lamina = Lamina { e1, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 0.0 };
        plies.insert(material.to_string(), (lamina, Some(STRENGTH)));
        for angle in [0, 45, -45, 90] {
            let turned = f64::from(angle).to_radians();
            kinds.push(Some(PlainLayer {
                place: 1,
                role: LayerRole::Ply,
                material: material.to_string(),
                thickness,
                turned,
                areal: thickness * 1600.0,
                ply: Some(PlainPly { angle: angle * 10, woven: false, fibre: thickness * 1000.0 }),
                asked: Some(material.to_string()),
                mechanics: match shown {
                    true => Mechanics::Settled { angle: turned, thickness },
                    false => Mechanics::Ready(JudgedLayer {
                        lamina,
                        angle: turned,
                        thickness,
                        strength: Some(STRENGTH),
                    }),
                },
            }));
        }
    }
    kinds.push(None);
    let mut load = StackLoad::new(LOAD, least, "a load");
    if shown {
        load.plies = plies;
    }
    StackSpace::of_places("bench", &vec![kinds; PLIES], rules).under(vec![load])
}

/// The median and the best of some seconds.
fn middle_and_best(mut all: Vec<f64>) -> (f64, f64) {
    all.sort_by(f64::total_cmp);
    (all.get(all.len() / 2).copied().unwrap_or(f64::NAN), all.first().copied().unwrap_or(f64::NAN))
}

/// Judges all stacks as a search does, slice by slice; returns how many are kept.
fn judged(space: &StackSpace, ranks: &[Vec<u32>]) -> usize {
    let some = |slice: &[Vec<u32>]| {
        let stacks: Vec<(&[u32], bool)> = slice.iter().map(|ranks| (ranks.as_slice(), true)).collect();
        let found = space.judge(black_box(&stacks), &mut space.scratch());
        found.iter().filter(|own| own.is_none()).count()
    };
    ranks.par_chunks(SLICE).map(some).sum()
}

fn stacks() -> Result<(), Error> {
    // All rules are worked out and none refuses, so that every stack goes through the mechanics too.
    let lenient = StackRules {
        symmetric: false,
        balanced: false,
        same_angle: Some(99),
        share: Some(0.0),
        surface: None,
    };
    let strict = StackRules {
        symmetric: false,
        balanced: false,
        same_angle: Some(4),
        share: Some(0.1),
        surface: Some(450),
    };
    let mut draw = 7_u64;
    let mut next = |below: u32| {
        draw = draw.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (draw >> 33) as u32 % below
    };
    let ranks: Vec<Vec<u32>> = (0..STACKS).map(|_| (0..PLIES).map(|_| next(9)).collect()).collect();
    // Half of the stacks are kept by the way of one stack, and the very same must be by the way of many.
    let plies = plies()?;
    let mut factors = Vec::new();
    for ranks in &ranks {
        let layers = ranks.iter().filter_map(|rank| plies.get(*rank as usize));
        factors.push(first_ply_prepared(layers, &LOAD).map_or(f64::INFINITY, |own| own.factor));
    }
    let mut sorted = factors.clone();
    sorted.sort_by(f64::total_cmp);
    let least = sorted.get(STACKS / 2).copied().unwrap_or(0.0) * (1.0 - 1e-6);
    let expected = factors.iter().filter(|own| **own >= least).count();
    println!("{STACKS} candidate stacks of at most {PLIES} plies, of 9 kinds a place; {ROUNDS} rounds\n");
    println!("{:<60}{:>14}{:>14}{:>9}", "by threads", "median, 1/s", "best, 1/s", "kept");
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    for (name, rules, shown) in [
        ("all rules and mechanics of every stack, values typed", lenient, false),
        ("all rules and mechanics of every stack, from showings", lenient, true),
        ("rules that refuse before mechanics, from showings", strict, true),
    ] {
        let space = space(rules, shown, least);
        for threads in [1, 2, 4, 8, 16].into_iter().filter(|threads| *threads <= cores.max(2)) {
            let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build()?;
            let (mut seconds, mut kept) = (Vec::new(), 0);
            for _ in 0..ROUNDS {
                let begin = Instant::now();
                kept = pool.install(|| judged(&space, &ranks));
                seconds.push(begin.elapsed().as_secs_f64());
            }
            if rules.surface.is_none() && kept != expected {
                return Err(format!("{kept} stacks are kept, {expected} one by one").into());
            }
            let (middle, best) = middle_and_best(seconds);
            let count = STACKS as f64;
            println!(
                "{:<60}{:>14.0}{:>14.0}{kept:>9}",
                format!("{name}, {threads}"),
                count / middle,
                count / best
            );
        }
    }
    Ok(())
}

/// The example, with a panel that bears forces in its plane: its own panels bear pressure on plates alone, which is
/// for the whole judgement. The plies are the example's, with strengths from its showings.
fn example(with_panel: bool) -> Result<(Snapshot, MemoryRecall), Error> {
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("example-project");
    let mut files = BTreeMap::new();
    gather(&top, "", &mut files)?;
    if with_panel {
        let plies: String = [45, 0, 45, 0, 45, 0, 0, 45, 0, 45, 0, 45]
            .iter()
            .enumerate()
            .map(|(at, angle)| {
                let core = if at == 6 { "  - {material: foam-52, thickness: 10 mm}\n" } else { "" };
                format!("{core}  - {{id: p{}, material: cw-200-e1, angle: {angle}}}\n", at + 1)
            })
            .collect();
        let recipe = format!("class: structural\nprocess: oven-120\nlayers:\n{plies}");
        files.insert("recipes/bench-skin.yaml".to_string(), recipe.into_bytes());
        let panel = "class: structural\nload_path: redundant\nexposure: {zone: outdoor}\nzones: [{name: all, area: 2 m2, recipe: bench-skin, finish: white}]\nloads: [{name: pull, N: [400 N/mm, 40 N/mm, 40 N/mm], factor: 1.5}]\n";
        files.insert("panels/bench-panel.yaml".to_string(), panel.as_bytes().to_vec());
    }
    Ok((Snapshot::in_memory(files), MemoryRecall::new()))
}

/// Whole searches of a study whose candidates nearly all fail by their first ply: what is looked at in a second, the
/// making of candidates with it, without the weighing that comes before.
fn searches() -> Result<(), Error> {
    let (snapshot, recall) = example(true)?;
    let ledger = Ledger::load(&snapshot, &recall);
    let today = Day::parse("2026-12-01")?;
    let evaluation = evaluate(&ledger, today)?;
    let room = Room { ledger: &ledger, snapshot: &snapshot, evaluation: &evaluation, today, recall: &recall };
    let mut vary: String = (2..=11)
        .map(|ply| format!("  - {{attribute: recipe/bench-skin#layers.p{ply}, drop: true}}\n"))
        .collect();
    vary.push_str(
        "  - {attribute: recipe/bench-skin#layers.7.thickness, from: 6 mm, to: 10 mm, step: 0.25 mm}\n",
    );
    vary.push_str("  - {attribute: finish/white#coats.4.dry_film, from: 35 um, to: 45 um, step: 1 um}\n");
    let text = format!("vary:\n{vary}keep: {{margins: 1000}}\nlimits: {{variations: 50}}\n");
    let value: Study = serde_yaml::from_str(&text)?;
    let study =
        Entry { id: "bench".to_string(), file: "studies/bench.yaml".to_string(), value: Arc::new(value) };
    let options = StudyOptions { seed: 1, stop: &|| None, progress: &|_| {} };
    println!("\na search of the example's plies, strengths from showings, an in-plane load\n");
    println!(
        "{:>8}{:>14}{:>12}{:>12}{:>10}{:>12}{:>14}{:>14}",
        "threads",
        "candidates",
        "looked at",
        "by margins",
        "judged",
        "weighing, s",
        "median, 1/s",
        "best, 1/s"
    );
    for threads in [1, 2] {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build()?;
        let (mut seconds, mut weighing) = (Vec::new(), Vec::new());
        let mut last = None;
        for _ in 0..3 {
            let space = Space::of(&ledger, &study.value)?;
            let begin = Instant::now();
            pool.install(|| Weights::of(&room, &space, &options))?;
            let weighed = begin.elapsed().as_secs_f64();
            let begin = Instant::now();
            let found = pool.install(|| run(&room, &study, &options))?;
            weighing.push(weighed);
            seconds.push(begin.elapsed().as_secs_f64() - weighed);
            last = Some(found);
        }
        let Some(found) = last else { continue };
        let margins = Criterion::Stack(bondline::change::study::stacks::StackRule::Margin);
        let thrown = found.thrown.iter().find(|own| own.criterion == margins).map_or(0, |own| own.count);
        let ((middle, best), (weighing, _)) = (middle_and_best(seconds), middle_and_best(weighing));
        let looked = found.looked_at as f64;
        println!(
            "{threads:>8}{:>14}{:>12}{thrown:>12}{:>10}{weighing:>12.2}{:>14.0}{:>14.0}",
            found.candidates,
            found.looked_at,
            found.judged,
            looked / middle,
            looked / best
        );
    }
    Ok(())
}

/// What the example may vary, one after the other.
const VARY: [&str; 8] = [
    "{attribute: finish/white#coats.4.dry_film, from: 35 um, to: 45 um, step: 5 um}",
    "{attribute: recipe/roof-skin#layers.4.thickness, among: [6 mm, 7 mm]}",
    "{attribute: finish/white#coats.3.dry_film, among: [25 um +/- 6 um]}",
    "{attribute: recipe/hatch-outer#layers.6.thickness, among: [4 mm, 5 mm]}",
    "{attribute: material/cw-200-e1#resin.content, among: [38 % +/- 2 %, 37 % +/- 2 %]}",
    "{attribute: recipe/hull-side#layers.5.thickness, among: [8 mm, 9 mm]}",
    "{attribute: recipe/float-shell#layers.5.material, among: [foam-52]}",
    "{attribute: recipe/rudder-skin#layers.4.thickness, among: [2 mm]}",
];

fn studies() -> Result<(), Error> {
    let (snapshot, recall) = example(false)?;
    let ledger = Ledger::load(&snapshot, &recall);
    let today = Day::parse("2026-12-01")?;
    let evaluation = evaluate(&ledger, today)?;
    let room = Room { ledger: &ledger, snapshot: &snapshot, evaluation: &evaluation, today, recall: &recall };
    println!(
        "\nstudies of the example, all cores, margins kept: its panels bear pressure on plates, so that each is judged in\nfull\n"
    );
    println!(
        "{:>10}{:>14}{:>12}{:>10}{:>12}{:>16}",
        "variations", "candidates", "looked at", "judged", "seconds", "ms a judgement"
    );
    for count in 1..=VARY.len() {
        let vary: String = VARY.iter().take(count).map(|one| format!("  - {one}\n")).collect();
        let text = format!("vary:\n{vary}keep: {{margins: 0}}\nlimits: {{variations: 400}}\n");
        let value: Study = serde_yaml::from_str(&text)?;
        let study =
            Entry { id: "bench".to_string(), file: "studies/bench.yaml".to_string(), value: Arc::new(value) };
        let options = StudyOptions { seed: 1, stop: &|| None, progress: &|_| {} };
        let begin = Instant::now();
        let found = run(&room, &study, &options)?;
        let seconds = begin.elapsed().as_secs_f64();
        println!(
            "{count:>10}{:>14}{:>12}{:>10}{seconds:>12.2}{:>16.1}  {}",
            found.candidates,
            found.looked_at,
            found.judged,
            seconds / found.judged as f64 * 1e3,
            found.ended.word()
        );
    }
    Ok(())
}

fn gather(folder: &Path, under: &str, files: &mut BTreeMap<String, Vec<u8>>) -> Result<(), Error> {
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = format!("{under}{}", entry.file_name().to_string_lossy());
        if entry.file_type()?.is_dir() {
            if name != "history" {
                gather(&entry.path(), &format!("{name}/"), files)?;
            }
        } else {
            files.insert(name, std::fs::read(entry.path())?);
        }
    }
    Ok(())
}
