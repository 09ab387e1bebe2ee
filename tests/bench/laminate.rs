//! Times A, B, D and first-ply failure (Tsai-Wu) of 16-ply laminates, beside the same in numpy.
//!
//! `cargo bench --bench laminate` makes a batch of invented stacks, evaluates it on one core, side by side and stack
//! by stack, runs `laminate_numpy.py` on the same batch on one thread, and prints all and their ratio to the first.
//! The reserve factors of all must be the same to 1e-9. No time is asserted: the ratio within one run counts.
//!
//! Both have tables of what depends on the kind of layer alone before the clock starts. numpy is timed three
//! times: on the whole batch at once, in slices of the size that suits its caches best, and in such slices
//! with an allocator that is told to keep its memory.

use bondline::laminate::{
    Candidate, Criterion, JudgedLayer, Kinds, Lamina, Load, PlyStrength, PreparedLayer, first_ply_prepared,
};
use serde_json::{Value, json};
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Instant;

type Error = Box<dyn std::error::Error + Send + Sync>;

const STACKS: usize = 20_000;
const PLIES: usize = 16;
const ROUNDS: usize = 20;
/// Stacks timed at once: each slice counts with its best round, so that what else the machine does falls out.
const SLICE: usize = 500;

/// Invented values.
const LAMINA: Lamina = Lamina { e1: 138e9, e2: 9e9, g12: 6.9e9, nu12: 0.3, cte1: 0.0, cte2: 0.0 };
const STRENGTH: PlyStrength = PlyStrength {
    xt: Some(1500e6),
    xc: Some(1200e6),
    yt: Some(50e6),
    yc: Some(250e6),
    s: Some(70e6),
    s23: None,
};
const INTERACTION: f64 = -0.5;

fn main() -> ExitCode {
    match table() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::FAILURE
        }
    }
}

/// The batch: kinds of layer, stacks of them, a load for each stack.
struct Batch {
    angles: Vec<f64>,
    thicknesses: Vec<f64>,
    kinds: Vec<u16>,
    loads: Vec<Load>,
}

fn table() -> Result<(), Error> {
    let batch = batch();
    let layers: Vec<JudgedLayer> = batch
        .angles
        .iter()
        .zip(&batch.thicknesses)
        .map(|(angle, thickness)| JudgedLayer {
            lamina: LAMINA,
            angle: *angle,
            thickness: *thickness,
            strength: Some(STRENGTH),
        })
        .collect();
    let (single, factors) = one_by_one(&batch, &layers)?;
    let (own, together) = side_by_side(&batch, &layers)?;
    apart(&factors, &together, "one by one and side by side")?;
    let folder = tempfile::tempdir()?;
    write(&batch, folder.path())?;
    let (whole, sliced) = numpy(folder.path(), &[], &factors)?;
    let keep = [("MALLOC_MMAP_THRESHOLD_", "4000000000"), ("MALLOC_TRIM_THRESHOLD_", "4000000000")];
    let (_, kept) = numpy(folder.path(), &keep, &factors)?;
    println!("{STACKS} stacks of {PLIES} plies, one core: A, B, D and first-ply failure (Tsai-Wu)\n");
    println!("{:<38}{:>14}{:>10}{:>8}", "", "stacks/s", "us each", "ratio");
    for (name, seconds) in [
        ("Bondline, side by side", own),
        ("Bondline, stack by stack", single),
        ("numpy, the batch at once", whole),
        ("numpy, best slices", sliced),
        ("numpy, best slices, kept memory", kept),
    ] {
        let count = STACKS as f64;
        println!("{name:<38}{:>14.0}{:>10.3}{:>8.1}", count / seconds, seconds / count * 1e6, seconds / own);
    }
    println!("\nThe reserve factors of all stacks agree to 1e-9.");
    Ok(())
}

const CRITERION: Criterion = Criterion::TsaiWu { interaction: INTERACTION };

/// Seconds, each slice with its best round, and the reserve factors, one stack after the other.
fn one_by_one(batch: &Batch, layers: &[JudgedLayer]) -> Result<(f64, Vec<f64>), Error> {
    let ready: Vec<PreparedLayer> =
        layers.iter().map(|layer| PreparedLayer::new(layer, CRITERION)).collect::<Result<_, _>>()?;
    let mut factors = vec![0.0; STACKS];
    let mut best = [f64::INFINITY; STACKS / SLICE];
    for _ in 0..ROUNDS {
        let kinds = batch.kinds.chunks_exact(PLIES * SLICE);
        let loads = black_box(&batch.loads).chunks_exact(SLICE);
        for (((kinds, loads), out), best) in
            kinds.zip(loads).zip(factors.chunks_exact_mut(SLICE)).zip(&mut best)
        {
            let begin = Instant::now();
            for ((kinds, load), out) in kinds.chunks_exact(PLIES).zip(loads).zip(out) {
                let layers = kinds.iter().filter_map(|kind| ready.get(usize::from(*kind)));
                *out = first_ply_prepared(layers, load)?.factor;
            }
            *best = best.min(begin.elapsed().as_secs_f64());
        }
    }
    Ok((best.iter().sum(), factors))
}

/// The same, several stacks at once.
fn side_by_side(batch: &Batch, layers: &[JudgedLayer]) -> Result<(f64, Vec<f64>), Error> {
    let kinds = Kinds::new(layers, CRITERION)?;
    let stacks = batch.kinds.chunks_exact(PLIES).zip(&batch.loads);
    let candidates: Vec<Candidate<'_>> = stacks.map(|(layers, load)| Candidate { layers, load }).collect();
    let (mut factors, mut answers) = (vec![0.0; STACKS], Vec::new());
    let mut best = [f64::INFINITY; STACKS / SLICE];
    for _ in 0..ROUNDS {
        let slices = black_box(&candidates).chunks_exact(SLICE).zip(factors.chunks_exact_mut(SLICE));
        for ((candidates, out), best) in slices.zip(&mut best) {
            let begin = Instant::now();
            answers.clear();
            kinds.first_ply(candidates, &mut answers);
            for (answer, out) in answers.iter().zip(out) {
                *out = answer.as_ref().map_err(Clone::clone)?.factor;
            }
            *best = best.min(begin.elapsed().as_secs_f64());
        }
    }
    Ok((best.iter().sum(), factors))
}

/// Refuses factors that are not the same.
fn apart(mine: &[f64], theirs: &[f64], who: &str) -> Result<(), Error> {
    if mine.len() != theirs.len() {
        return Err(format!("{who}: {} factors and {}", mine.len(), theirs.len()).into());
    }
    let apart = |(mine, other): (&f64, &f64)| (mine / other - 1.0).abs();
    let worst = mine
        .iter()
        .zip(theirs)
        .map(apart)
        .fold(0.0, |worst, own| if own > worst || own.is_nan() { own } else { worst });
    if worst.is_nan() || worst > 1e-9 {
        return Err(format!("{who}: the reserve factors differ by up to {worst:e} of themselves").into());
    }
    Ok(())
}

/// Seconds that numpy took for the batch at once and in its best slices, its factors compared with ours.
fn numpy(folder: &Path, variables: &[(&str, &str)], factors: &[f64]) -> Result<(f64, f64), Error> {
    let python =
        std::env::var_os("BONDLINE_PYTHON").map_or_else(|| PathBuf::from("/usr/bin/python3"), PathBuf::from);
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/laminate_numpy.py");
    let mut command = Command::new(python);
    command.arg(script).arg(folder).envs(variables.iter().copied());
    // One core for each side.
    for threads in ["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"] {
        command.env(threads, "1");
    }
    let output = command.output()?;
    if !output.status.success() {
        return Err(format!("laminate_numpy.py failed\n{}", String::from_utf8_lossy(&output.stderr)).into());
    }
    let answer: Value = serde_json::from_slice(&output.stdout)?;
    let theirs = std::fs::read(folder.join("factors.bin"))?;
    let theirs: Vec<f64> = theirs
        .chunks_exact(8)
        .map(|bytes| bytes.try_into().map(f64::from_le_bytes))
        .collect::<Result<_, _>>()?;
    apart(factors, &theirs, "here and numpy")?;
    let told = |key| answer.get(key).and_then(Value::as_f64);
    match (told("whole"), told("seconds")) {
        (Some(whole), Some(sliced)) => Ok((whole, sliced)),
        _ => Err("laminate_numpy.py wrote no seconds".into()),
    }
}

fn batch() -> Batch {
    // Two thicknesses of every angle in steps of 15 degrees.
    let kinds: Vec<(f64, f64)> = (-5..=6)
        .flat_map(|step| [0.13e-3, 0.2e-3].map(|thickness| (f64::from(step * 15).to_radians(), thickness)))
        .collect();
    let mut draw = Draw(20_240_613);
    let mut of = |size: f64| [(); 3].map(|()| (2.0 * draw.share() - 1.0) * size);
    let loads = (0..STACKS).map(|_| Load { force: of(1e5), moment: of(30.0), temperature: 0.0 }).collect();
    let mut draw = Draw(7);
    Batch {
        kinds: (0..STACKS * PLIES).map(|_| (draw.share() * kinds.len() as f64) as u16).collect(),
        angles: kinds.iter().map(|kind| kind.0).collect(),
        thicknesses: kinds.iter().map(|kind| kind.1).collect(),
        loads,
    }
}

fn write(batch: &Batch, folder: &Path) -> Result<(), Error> {
    let Lamina { e1, e2, g12, nu12, .. } = LAMINA;
    let PlyStrength { xt, xc, yt, yc, s, .. } = STRENGTH;
    let told = json!({
        "count": STACKS, "plies": PLIES, "rounds": ROUNDS,
        "angles": batch.angles, "thicknesses": batch.thicknesses, "interaction": INTERACTION,
        "lamina": {"e1": e1, "e2": e2, "g12": g12, "nu12": nu12},
        "strength": {"xt": xt, "xc": xc, "yt": yt, "yc": yc, "s": s},
    });
    std::fs::write(folder.join("batch.json"), told.to_string())?;
    let kinds: Vec<u8> = batch.kinds.iter().flat_map(|kind| kind.to_le_bytes()).collect();
    std::fs::write(folder.join("kinds.bin"), kinds)?;
    let loads: Vec<u8> = batch
        .loads
        .iter()
        .flat_map(|load| load.force.into_iter().chain(load.moment))
        .flat_map(f64::to_le_bytes)
        .collect();
    std::fs::write(folder.join("loads.bin"), loads)?;
    Ok(())
}

/// A linear congruential sequence (D. E. Knuth's MMIX constants, from memory): any will do, as long as each
/// run makes the same batch.
struct Draw(u64);

impl Draw {
    /// From 0 to below 1.
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
}
