//! Times studies: candidate stacks looked up in plain values, and whole studies of the example.
//!
//! `cargo bench --bench study` prints how many candidate stacks a core judges in a second, each by all stacking
//! rules and by A, B, D and first-ply failure (Tsai-Wu), how that grows with cores, and how the time of whole
//! studies of the example grows with the number of variations. No time is asserted. All values are invented.

use bondline::article::LayerRole;
use bondline::change::study::stacks::{Mechanics, PlainLayer, PlainPly, StackLoad, StackRules, StackSpace};
use bondline::change::study::{Room, StudyOptions, run};
use bondline::laminate::{Criterion, JudgedLayer, Lamina, Load, PlyStrength, PreparedLayer};
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
/// Stacks timed at once: each slice counts with its best round, so that what else the machine does falls out.
const SLICE: usize = 500;

fn main() -> ExitCode {
    match stacks().and_then(|()| studies()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::FAILURE
        }
    }
}

/// Eight kinds of ply, or none, at each of sixteen places.
fn space(rules: StackRules) -> Result<StackSpace, Error> {
    let strength = PlyStrength {
        xt: Some(1500e6),
        xc: Some(1200e6),
        yt: Some(50e6),
        yc: Some(250e6),
        s: Some(70e6),
        s23: None,
    };
    let mut kinds = Vec::new();
    for (material, e1, thickness) in [("tape-a", 138e9, 0.13e-3), ("tape-b", 150e9, 0.2e-3)] {
        let lamina = Lamina { e1, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 0.0 };
        for angle in [0, 45, -45, 90] {
            let turned = f64::from(angle).to_radians();
            let layer = JudgedLayer { lamina, angle: turned, thickness, strength: Some(strength) };
            let ready = PreparedLayer::new(&layer, Criterion::TSAI_WU)?;
            kinds.push(Some(PlainLayer {
                place: 1,
                role: LayerRole::Ply,
                material: material.to_string(),
                thickness,
                areal: thickness * 1600.0,
                ply: Some(PlainPly { angle: angle * 10, woven: false, fibre: thickness * 1000.0 }),
                mechanics: Mechanics::Ready { layer: ready, carries: true },
            }));
        }
    }
    kinds.push(None);
    let load = Load { force: [1e5, 2e4, 1e4], moment: [10.0, 5.0, 2.0], temperature: 0.0 };
    let load = StackLoad { load, least: 0.0, words: "a load".to_string() };
    Ok(StackSpace::of_places("bench", &vec![kinds; PLIES], rules).under(vec![load]))
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
    println!("{STACKS} candidate stacks of at most {PLIES} plies, of 9 kinds a place\n");
    println!("{:<52}{:>14}{:>10}{:>12}", "one core", "stacks/s", "us each", "kept");
    for (name, rules) in
        [("all rules and mechanics of every stack", lenient), ("rules that refuse before mechanics", strict)]
    {
        let space = space(rules)?;
        let mut scratch = space.scratch();
        let mut best = [f64::INFINITY; STACKS / SLICE];
        let mut kept = 0;
        for _ in 0..ROUNDS {
            kept = 0;
            for (slice, best) in ranks.chunks_exact(SLICE).zip(&mut best) {
                let begin = Instant::now();
                for ranks in slice {
                    kept += usize::from(space.judge(black_box(ranks), &mut scratch).is_none());
                }
                *best = best.min(begin.elapsed().as_secs_f64());
            }
        }
        let seconds: f64 = best.iter().sum();
        let count = STACKS as f64;
        println!("{name:<52}{:>14.0}{:>10.3}{kept:>12}", count / seconds, seconds / count * 1e6);
    }
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    println!("\n{:<52}{:>14}{:>10}", "all rules and mechanics, by threads", "stacks/s", "ratio");
    let space = space(lenient)?;
    let mut alone = 0.0;
    for threads in [1, 2, 4, 8, 16].into_iter().filter(|threads| *threads <= cores.max(2)) {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build()?;
        let mut best = f64::INFINITY;
        for _ in 0..ROUNDS {
            let begin = Instant::now();
            let kept: usize = pool.install(|| {
                ranks
                    .par_chunks(SLICE)
                    .map(|slice| {
                        let mut scratch = space.scratch();
                        slice.iter().filter(|ranks| space.judge(ranks, &mut scratch).is_none()).count()
                    })
                    .sum()
            });
            black_box(kept);
            best = best.min(begin.elapsed().as_secs_f64());
        }
        let rate = STACKS as f64 / best;
        alone = if threads == 1 { rate } else { alone };
        println!("{threads:<52}{rate:>14.0}{:>10.2}", rate / alone);
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
    let top = Path::new(env!("CARGO_MANIFEST_DIR")).join("example-project");
    let mut files = BTreeMap::new();
    gather(&top, "", &mut files)?;
    let (snapshot, recall) = (Snapshot::in_memory(files), MemoryRecall::new());
    let ledger = Ledger::load(&snapshot, &recall);
    let today = Day::parse("2026-12-01")?;
    let evaluation = evaluate(&ledger, today)?;
    let room = Room { ledger: &ledger, snapshot: &snapshot, evaluation: &evaluation, today, recall: &recall };
    println!("\nstudies of the example, all cores, margins kept\n");
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
