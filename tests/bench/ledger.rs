//! Times whole commands on a large invented ledger, beside what the machine needs at the very least.
//!
//! `cargo bench --bench ledger` prints one table; `cargo bench --bench ledger -- --records 2000` a smaller
//! one; `-- history N COMMITS` times `history` over that many commits, and `-- generate DIR [N [COMMITS]]` lays such a
//! ledger and stops. Nothing is asserted: times depend on the machine, so what counts are the ratios within one run.
//!
//! `warm` is with a store that earlier runs filled, and with a question that was not asked before: the folder is
//! written in other words each time; `asked again` is the very same question.
//!
//! The floor is the reading of every file of HEAD through git's library and its parsing into the record
//! types on all cores, in a process of its own; whatever a command does comes on top of that.

#[path = "../support/generate.rs"]
mod generate;

use bondline::record::{
    Assembly, Concession, Decision, Evidence, Finish, LedgerHead, Material, Panel, Process, Recipe,
    RecordKind, Showing, Study, Tool, Weighing,
};
use rayon::prelude::*;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitCode, Stdio};
use std::time::{Duration, Instant};

/// The program's own, so that the floor has the same.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

type Error = Box<dyn std::error::Error + Send + Sync>;

const ROUNDS: usize = 5;
/// The day that every command takes as today.
const TODAY: &str = "2026-06-01";
/// The title of the decision that carries the last commit's change.
const STEP: &str = "A richer prepreg and two recipes";

fn main() -> ExitCode {
    // `cargo bench` adds `--bench`.
    let arguments: Vec<String> = std::env::args().skip(1).filter(|one| one != "--bench").collect();
    let words: Vec<&str> = arguments.iter().map(String::as_str).collect();
    let done = match words.as_slice() {
        ["floor", directory] => floor(Path::new(directory)),
        ["generate", directory, sizes @ ..] if sizes.len() < 3 => numbers(sizes).and_then(|sizes| {
            let size = |at: usize, usual: usize| sizes.get(at).copied().unwrap_or(usual);
            generate::repository(Path::new(directory), size(0, 10_000), size(1, 2)).map(|_| ())
        }),
        ["history", sizes @ ..] if sizes.len() == 2 => match numbers(sizes).as_deref() {
            Ok([records, commits]) => history(*records, *commits),
            _ => Err("write `history N COMMITS`".into()),
        },
        ["--records", records] => match records.parse() {
            Ok(records) => table(records),
            Err(_) => Err(format!("`{records}` is no number").into()),
        },
        [] => table(10_000),
        _ => Err("write nothing, `--records N`, `history N COMMITS`, or `generate DIR [N [COMMITS]]`".into()),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::FAILURE
        }
    }
}

fn numbers(words: &[&str]) -> Result<Vec<usize>, Error> {
    words.iter().map(|word| word.parse().map_err(|_| format!("`{word}` is no number").into())).collect()
}

/// One command, measured.
struct Measured {
    name: String,
    wall: Duration,
    peak: Option<u64>,
}

fn table(records: usize) -> Result<(), Error> {
    let folder = tempfile::tempdir()?;
    let directory = folder.path().join("ledger");
    let begun = Instant::now();
    let tree = generate::repository(&directory, records, 2)?;
    let yaml: Vec<usize> =
        tree.iter().filter(|(path, _)| path.ends_with(".yaml")).map(|(_, text)| text.len()).collect();
    eprintln!(
        "{} records of {} bytes on average and {} data files, laid in {:.1} s",
        yaml.len(),
        yaml.iter().sum::<usize>() / yaml.len().max(1),
        tree.len() - yaml.len(),
        begun.elapsed().as_secs_f64()
    );
    let index = stage(&directory, &tree)?;
    let program = env!("CARGO_BIN_EXE_bondline");
    let own = std::env::current_exe()?;
    let within = |directory: &Path, arguments: &[&str]| {
        let mut command = Command::new(program);
        command.arg("-C").arg(directory).args(["--today", TODAY]).args(arguments);
        command
    };
    let bondline = |arguments: &[&str]| within(&directory, arguments);
    let proposed = folder.path().join("proposed");
    propose(&directory, &proposed, &mut within(&proposed, &["decide", "draft", STEP, "--from-worktree"]))?;
    let hook = |arguments: &[&str]| {
        let mut command = bondline(arguments);
        command.env("GIT_INDEX_FILE", &index);
        command
    };
    let mut floor = Command::new(own);
    floor.arg("floor").arg(&directory);
    let mut status = Command::new("git");
    status.arg("-C").arg(&directory).args(["status", "--porcelain"]);
    let mut all: Vec<(&str, Asks, Command)> = vec![
        ("floor: read and parse", Asks::Again, floor),
        ("git status", Asks::Again, status),
        ("check", Asks::Again, bondline(&["--no-store", "check"])),
        ("check, warm", Asks::Again, bondline(&["check"])),
        ("hook run, 3 staged", Asks::Again, hook(&["--no-store", "hook", "run"])),
        ("hook run, 3 staged, warm", Asks::Again, hook(&["hook", "run"])),
        ("impact HEAD~1", Asks::Again, bondline(&["--no-store", "impact", "HEAD~1"])),
        ("impact HEAD~1, warm", Asks::Anew, bondline(&["impact", "HEAD~1"])),
        ("impact HEAD~1, asked again", Asks::Again, bondline(&["impact", "HEAD~1"])),
        ("the same as a decision", Asks::Again, within(&proposed, &["--no-store", "impact", "dd-001"])),
        ("gaps", Asks::Again, bondline(&["--no-store", "gaps"])),
        ("gaps, warm", Asks::Anew, bondline(&["gaps"])),
        ("gaps, asked again", Asks::Again, bondline(&["gaps"])),
        ("report, a new folder", Asks::Again, report(&directory, folder.path(), &["--no-store"])),
        ("report, warm", Asks::Again, report(&directory, folder.path(), &[])),
    ];
    let mut measured = Vec::new();
    // Files that changed in the last seconds are read; those of a ledger in use rarely did.
    std::thread::sleep(Duration::from_secs(4));
    for (name, asks, command) in &mut all {
        measured.push(measure(name, *asks, command, ROUNDS)?);
    }
    print(&measured);
    Ok(())
}

/// Times `history` over all commits, the first time and with what that kept, beside git's own walk over them.
fn history(records: usize, commits: usize) -> Result<(), Error> {
    let folder = tempfile::tempdir()?;
    let directory = folder.path().join("ledger");
    generate::repository(&directory, records, commits)?;
    done(Command::new("git").arg("-C").arg(&directory).args(["gc", "--quiet"]))?;
    let git = |arguments: &[&str]| {
        let mut command = Command::new("git");
        command.arg("-C").arg(&directory).args(arguments);
        command
    };
    let history = || {
        let mut command = Command::new(env!("CARGO_BIN_EXE_bondline"));
        command.arg("-C").arg(&directory).args(["--today", TODAY, "history", "--all"]);
        command
    };
    let mut own = Command::new(std::env::current_exe()?);
    own.arg("floor").arg(&directory);
    let mut measured = vec![
        measure("floor: read and parse", Asks::Again, &mut own, ROUNDS)?,
        measure("git status", Asks::Again, &mut git(&["status", "--porcelain"]), ROUNDS)?,
        measure("git log --stat", Asks::Again, &mut git(&["log", "--stat", "--first-parent"]), ROUNDS)?,
    ];
    // Once alone: a second run finds what the first kept.
    let begun = Instant::now();
    let peak = peak(history().stdout(Stdio::null()).stderr(Stdio::null()))?;
    measured.push(Measured { name: "history, the first time".to_string(), wall: begun.elapsed(), peak });
    measured.push(measure("history, warm", Asks::Anew, &mut history(), ROUNDS)?);
    measured.push(measure("history, asked again", Asks::Again, &mut history(), ROUNDS)?);
    print(&measured);
    Ok(())
}

/// Pages laid into a folder that is new each time, as nobody has an earlier report of a ledger that is sent to him.
fn report(directory: &Path, beside: &Path, options: &[&str]) -> Command {
    let mut command = Command::new("sh");
    command
        .args(["-c", r#"exec "$0" -C "$1" --today "$2" report --out "$(mktemp -d -p "$3")" $4"#])
        .arg(env!("CARGO_BIN_EXE_bondline"))
        .arg(directory)
        .arg(TODAY)
        .arg(beside)
        .args(options);
    command
}

fn print(all: &[Measured]) {
    let milliseconds = |of: Duration| of.as_secs_f64() * 1e3;
    let wall = |at: usize| all.get(at).map_or(f64::NAN, |one| milliseconds(one.wall));
    println!("{:<28} {:>10} {:>9} {:>13} {:>10}", "command", "wall ms", "x floor", "x git status", "peak MB");
    for one in all {
        let own = milliseconds(one.wall);
        #[allow(clippy::cast_precision_loss)]
        let peak = one.peak.map_or_else(|| "-".to_string(), |bytes| format!("{:.0}", bytes as f64 / 1e6));
        println!("{:<28} {own:>10.1} {:>9.2} {:>13.1} {peak:>10}", one.name, own / wall(0), own / wall(1));
    }
}

/// Whether each round puts the same question or another of the same states.
#[derive(Clone, Copy, PartialEq)]
enum Asks {
    Again,
    Anew,
}

impl Asks {
    /// The question of a round, where it is another one: the folder is written in other words.
    fn put(self, command: &Command, round: usize) -> Option<Command> {
        if self == Asks::Again {
            return None;
        }
        let mut other = Command::new(command.get_program());
        let mut is_folder = false;
        for word in command.get_args() {
            let mut word = word.to_os_string();
            if is_folder {
                word.push("/.".repeat(round + 1));
            }
            is_folder = word == "-C";
            other.arg(word);
        }
        other.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
        Some(other)
    }
}

/// Runs a command once unmeasured and then some rounds; the wall time is the median.
fn measure(name: &str, asks: Asks, command: &mut Command, rounds: usize) -> Result<Measured, Error> {
    command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    // Memory is polled in a run of its own, so that polling takes nothing from the times; what that run keeps is there for
    // those that are measured.
    let peak = peak(command)?;
    let mut walls = Vec::with_capacity(rounds);
    for round in 0..rounds {
        let mut other = asks.put(command, round);
        let begun = Instant::now();
        let status = other.as_mut().unwrap_or(command).status()?;
        walls.push(begun.elapsed());
        // 1 is an objection, as of a refused commit.
        if !matches!(status.code(), Some(0 | 1)) {
            return Err(format!("{name} ended with {status}").into());
        }
    }
    walls.sort();
    Ok(Measured { name: name.to_string(), wall: walls.get(rounds / 2).copied().unwrap_or_default(), peak })
}

/// The peak of resident memory, as the kernel counts it, read every 2 ms until the process ends: growth in
/// the last 2 ms is missed. `None` where the system has no such figure.
fn peak(command: &mut Command) -> Result<Option<u64>, Error> {
    let mut child = command.spawn()?;
    let place = PathBuf::from(format!("/proc/{}/status", child.id()));
    let mut highest = None;
    while child.try_wait()?.is_none() {
        let found = std::fs::read_to_string(&place).ok().and_then(|text| {
            let line = text.lines().find(|line| line.starts_with("VmHWM:"))?;
            line.split_whitespace().nth(1)?.parse::<u64>().ok()
        });
        highest = highest.max(found);
        std::thread::sleep(Duration::from_millis(2));
    }
    Ok(highest.map(|kibibytes| kibibytes * 1024))
}

/// Lays the ledger as it was one commit ago, with that commit's change as a decision.
fn propose(ledger: &Path, target: &Path, draft: &mut Command) -> Result<(), Error> {
    let git = |arguments: &[&str]| {
        let mut command = Command::new("git");
        command.arg("-C").arg(target).args(arguments);
        done(&mut command)
    };
    done(Command::new("git").args(["clone", "--quiet"]).arg(ledger).arg(target))?;
    git(&["checkout", "--quiet", "HEAD~1"])?;
    git(&["restore", "--source", "origin/main", "--", "."])?;
    done(draft)?;
    git(&["restore", "--", "."])
}

/// Runs a command that must succeed.
fn done(command: &mut Command) -> Result<(), Error> {
    let output = command.output()?;
    if output.status.success() {
        return Ok(());
    }
    Err(format!("{command:?} failed\n{}", String::from_utf8_lossy(&output.stderr)).into())
}

/// Stages three changed files in an index beside the repository's own, so that the work tree stays clean.
fn stage(directory: &Path, tree: &generate::Tree) -> Result<PathBuf, Error> {
    let repository = git2::Repository::open(directory)?;
    let place = directory.join(".git").join("staged-index");
    std::fs::copy(directory.join(".git").join("index"), &place)?;
    let mut index = git2::Index::open(&place)?;
    for (path, bytes) in generate::staged(tree)? {
        let mut entry = index.get_path(Path::new(&path), 0).ok_or("it is not in the index")?;
        entry.id = repository.blob(&bytes)?;
        entry.file_size = u32::try_from(bytes.len())?;
        index.add(&entry)?;
    }
    index.write()?;
    Ok(place)
}

/// Reads every file of HEAD and parses the records, on all cores.
fn floor(directory: &Path) -> Result<(), Error> {
    let repository = git2::Repository::open(directory)?;
    let mut blobs: Vec<(String, git2::Oid)> = Vec::new();
    repository.head()?.peel_to_tree()?.walk(git2::TreeWalkMode::PreOrder, |folder, entry| {
        if let (Some(git2::ObjectType::Blob), Ok(name)) =
            (entry.kind(), std::str::from_utf8(entry.name_bytes()))
        {
            blobs.push((format!("{folder}{name}"), entry.id()));
        }
        git2::TreeWalkResult::Ok
    })?;
    let parsed: Vec<Result<Box<dyn std::any::Any + Send>, Error>> = blobs
        .par_iter()
        .map_init(
            || git2::Repository::open(directory),
            |repository, (path, id)| {
                let repository = repository.as_ref().map_err(|error| error.message().to_string())?;
                let blob = repository.find_blob(*id)?;
                parse(path, blob.content())
            },
        )
        .collect();
    let mut records = 0;
    for one in parsed {
        records += usize::from(!one?.is::<usize>());
    }
    println!("{records}");
    Ok(())
}

fn parse(path: &str, bytes: &[u8]) -> Result<Box<dyn std::any::Any + Send>, Error> {
    fn read<T: serde::de::DeserializeOwned + Send + 'static>(
        bytes: &[u8],
    ) -> Result<Box<dyn std::any::Any + Send>, Error> {
        Ok(Box::new(serde_yaml::from_slice::<T>(bytes)?))
    }
    if !path.ends_with(".yaml") {
        return Ok(Box::new(bytes.len()));
    }
    let folder = path.split_once('/').map_or("", |(folder, _)| folder);
    match RecordKind::by_folder(folder) {
        None | Some(RecordKind::Ledger) => read::<LedgerHead>(bytes),
        Some(RecordKind::Material) => read::<Material>(bytes),
        Some(RecordKind::Process) => read::<Process>(bytes),
        Some(RecordKind::Tool) => read::<Tool>(bytes),
        Some(RecordKind::Finish) => read::<Finish>(bytes),
        Some(RecordKind::Recipe) => read::<Recipe>(bytes),
        Some(RecordKind::Panel) => read::<Panel>(bytes),
        Some(RecordKind::Assembly) => read::<Assembly>(bytes),
        Some(RecordKind::Showing) => read::<Showing>(bytes),
        Some(RecordKind::Evidence) => read::<Evidence>(bytes),
        Some(RecordKind::Decision) => read::<Decision>(bytes),
        Some(RecordKind::Concession) => read::<Concession>(bytes),
        Some(RecordKind::Weighing) => read::<Weighing>(bytes),
        Some(RecordKind::Study) => read::<Study>(bytes),
    }
}
