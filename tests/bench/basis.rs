//! Times design values (the whole procedure, B and A) of many data sets, beside the same steps in numpy and scipy.
//!
//! `cargo bench --bench basis` makes invented data sets, small and large, works each out on one core, runs
//! `basis_scipy.py` on the same sets on one thread, and prints both and their ratio. Method and values of the two
//! must be the same, the values to 1e-6. No time is asserted: the ratio within one run counts.
//!
//! What depends on the sizes of a set alone (tolerance factors, critical values) is remembered on both sides.

use bondline::statistics::{Basis, Distribution, Levels, Method, normal_quantile, procedure};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::hint::black_box;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode};
use std::time::Instant;

/// The program's own: most of what large samples need is fresh memory.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

type Error = Box<dyn std::error::Error + Send + Sync>;

/// Sets of one size.
struct Kind {
    name: &'static str,
    told: &'static str,
    sets: usize,
    batches: usize,
    size: usize,
    rounds: usize,
}

const KINDS: [Kind; 2] = [
    Kind { name: "small", told: "18 values in 3 batches", sets: 1000, batches: 3, size: 6, rounds: 5 },
    Kind { name: "large", told: "5 000 values in 10 batches", sets: 1000, batches: 10, size: 500, rounds: 3 },
];

fn main() -> ExitCode {
    match table() {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::FAILURE
        }
    }
}

fn table() -> Result<(), Error> {
    let folder = tempfile::tempdir()?;
    let (mut task, mut mine) = (serde_json::Map::new(), Vec::new());
    for kind in &KINDS {
        let sets = sets(kind)?;
        let bytes: Vec<u8> = sets.iter().flatten().flat_map(|value| value.to_le_bytes()).collect();
        std::fs::write(folder.path().join(format!("{}.bin", kind.name)), bytes)?;
        let own = json!({ "sets": sets.len(), "batches": kind.batches, "rounds": kind.rounds });
        task.insert(kind.name.to_string(), own);
        mine.push(timed(kind, &sets)?);
    }
    std::fs::write(folder.path().join("task.json"), Value::Object(task).to_string())?;
    if std::env::args().any(|arg| arg == "alone") {
        for (kind, (seconds, results)) in KINDS.iter().zip(&mine) {
            println!("{}: {:.1} us each", kind.told, seconds / results.len() as f64 * 1e6);
        }
        return Ok(());
    }
    let theirs = scipy(folder.path())?;
    println!("Design values (the whole procedure, B and A), one core\n");
    println!(
        "{:<30}{:>12}{:>12}{:>8}{:>14}{:>8}",
        "data sets", "Bondline us", "numpy us", "ratio", "scipy.stats us", "ratio"
    );
    for (kind, (seconds, results)) in KINDS.iter().zip(&mine) {
        let other = theirs.get(kind.name).and_then(Value::as_f64).ok_or("basis_scipy.py wrote no seconds")?;
        compare(kind, results, &folder.path().join(format!("{}.out", kind.name)))?;
        let count = results.len() as f64;
        let (own, there) = (seconds / count * 1e6, other / count * 1e6);
        let library = theirs.get(format!("{} library", kind.name)).and_then(Value::as_f64);
        let library = library.ok_or("basis_scipy.py wrote no seconds of the library")? / count * 1e6;
        println!(
            "{:<30}{own:>12.2}{there:>12.1}{:>8.1}{library:>14.0}{:>8.0}",
            kind.told,
            there / own,
            library / own
        );
    }
    println!("\nMethods are the same, values agree to 1e-6. Sets by method:");
    for (kind, (_, results)) in KINDS.iter().zip(&mine) {
        let mut methods: BTreeMap<&str, usize> = BTreeMap::new();
        for [method, ..] in results {
            let name = ["Weibull", "normal", "lognormal", "ranks", "batches"].get(*method as usize);
            *methods.entry(name.copied().unwrap_or("?")).or_default() += 1;
        }
        let told: Vec<String> = methods.iter().map(|(name, count)| format!("{count} {name}")).collect();
        println!("  {}: {}", kind.told, told.join(", "));
    }
    Ok(())
}

/// Method (0 to 2 the distributions in their order, 3 none, 4 batches that differ), B, A.
type Row = [f64; 3];

/// Seconds, each set with its best round, and the results.
fn timed(kind: &Kind, sets: &[Vec<f64>]) -> Result<(f64, Vec<Row>), Error> {
    let levels = Levels::default();
    let mut best = vec![f64::INFINITY; sets.len()];
    let mut results = vec![[0.0; 3]; sets.len()];
    for _ in 0..kind.rounds {
        for ((set, best), result) in black_box(sets).iter().zip(&mut best).zip(&mut results) {
            let begin = Instant::now();
            let groups: Vec<&[f64]> = set.chunks_exact(kind.size).collect();
            let found = procedure(&groups, &levels)?;
            *best = best.min(begin.elapsed().as_secs_f64());
            let method = match found.method {
                Method::One(Distribution::Weibull) => 0.0,
                Method::One(Distribution::Normal) => 1.0,
                Method::One(Distribution::Lognormal) => 2.0,
                Method::NoDistribution => 3.0,
                Method::Batches => 4.0,
                other => return Err(format!("method {other:?} is not looked for").into()),
            };
            *result = [method, found.b?.value, found.a?.value];
        }
    }
    Ok((best.iter().sum(), results))
}

/// Seconds by kind that scipy took.
fn scipy(folder: &Path) -> Result<Value, Error> {
    let python =
        std::env::var_os("BONDLINE_PYTHON").map_or_else(|| PathBuf::from("/usr/bin/python3"), PathBuf::from);
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/bench/basis_scipy.py");
    let mut command = Command::new(python);
    command.arg(script).arg(folder);
    for threads in ["OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"] {
        command.env(threads, "1");
    }
    let output = command.output()?;
    if !output.status.success() {
        return Err(format!("basis_scipy.py failed\n{}", String::from_utf8_lossy(&output.stderr)).into());
    }
    Ok(serde_json::from_slice(&output.stdout)?)
}

/// Refuses results that are not the same on both sides.
fn compare(kind: &Kind, mine: &[Row], file: &Path) -> Result<(), Error> {
    let theirs: Vec<f64> = std::fs::read(file)?
        .chunks_exact(8)
        .map(|bytes| bytes.try_into().map(f64::from_le_bytes))
        .collect::<Result<_, _>>()?;
    if theirs.len() != 3 * mine.len() {
        return Err(format!("scipy wrote {} figures of {}", theirs.len(), 3 * mine.len()).into());
    }
    for (at, (own, other)) in mine.iter().zip(theirs.chunks_exact(3)).enumerate() {
        let near = |(one, two): (&f64, &f64)| (one - two).abs() <= 1e-6 * one.abs();
        if !own.iter().zip(other).all(near) {
            return Err(format!("{} set {at}: {own:?} here, {other:?} in scipy", kind.name).into());
        }
    }
    Ok(())
}

/// Invented strengths in MPa, from Weibull, normal and lognormal populations in turn; every third small set and
/// every tenth large one has batches that differ.
fn sets(kind: &Kind) -> Result<Vec<Vec<f64>>, Error> {
    let mut draw = Draw(20_260_611);
    let apart = if kind.size < 100 { 3 } else { 10 };
    let mut all = Vec::with_capacity(kind.sets);
    while all.len() < kind.sets {
        let at = all.len();
        let (level, cv) = (300.0 + 2000.0 * draw.share(), 0.03 + 0.07 * draw.share());
        let mut set = Vec::with_capacity(kind.batches * kind.size);
        for _ in 0..kind.batches {
            let shift = if at % apart == 0 { 1.0 + cv * normal_quantile(draw.share())? } else { 1.0 };
            for _ in 0..kind.size {
                let share = draw.share();
                let value = match at % 4 {
                    0 => (-share.ln()).powf(0.8 * cv),
                    1 => 1.0 + cv * normal_quantile(share)?,
                    _ => (cv * normal_quantile(share)?).exp(),
                };
                // Read off a test machine to the tenth of a unit, so that there are ties.
                set.push((level * shift * value * 10.0).round() / 10.0);
            }
        }
        // Of those that fit nothing and are too small for a rank there is none: scipy's side has no such step.
        let groups: Vec<&[f64]> = set.chunks_exact(kind.size).collect();
        let found = procedure(&groups, &Levels::default())?;
        let small = found.method == Method::NoDistribution && set.len() < 299;
        if !small && found.value(Basis::A).is_ok() {
            all.push(set);
        }
    }
    Ok(all)
}

/// A linear congruential sequence (D. E. Knuth's MMIX constants, from memory): any will do, as long as each
/// run makes the same sets.
struct Draw(u64);

impl Draw {
    /// From above 0 to below 1.
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 12) as f64 + 0.5) / (1u64 << 52) as f64
    }
}
