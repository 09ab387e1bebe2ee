//! A repository that may not be written, and one that is another user's.
//!
//! Root may write everywhere, so where the tests run as root the program is run as another user, whose the
//! repository is then; nothing here is left out for want of rights but what is printed.

use crate::git::bed::{Bed, PROGRAM, Run, TODAY};
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fs;
use std::os::unix::fs::{MetadataExt, PermissionsExt, chown};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::Command;

/// A user that nothing belongs to.
const NOBODY: u32 = 65_534;

fn is_root() -> bool {
    fs::metadata("/proc/self").unwrap().uid() == 0
}

fn everything(folder: &Path, each: &dyn Fn(&Path, bool)) {
    for entry in fs::read_dir(folder).unwrap().flatten() {
        let is_folder = entry.file_type().unwrap().is_dir();
        if is_folder {
            everything(&entry.path(), each);
        }
        each(&entry.path(), is_folder);
    }
    each(folder, true);
}

/// A bed whose user may not do everything: this one, or nobody where this one is root.
struct Guarded {
    bed: Bed,
    program: PathBuf,
}

impl Guarded {
    fn new() -> Self {
        let bed = Bed::small();
        // Where only root may go the program would be out of reach.
        let program = bed.beside("bondline");
        if fs::hard_link(PROGRAM, &program).is_err() {
            fs::copy(PROGRAM, &program).unwrap();
        }
        fs::set_permissions(bed.room(), fs::Permissions::from_mode(0o755)).unwrap();
        let guarded = Self { bed, program };
        guarded.belongs_to(NOBODY);
        guarded
    }

    /// Gives the repository to a user, which only root can.
    fn belongs_to(&self, user: u32) {
        if is_root() {
            everything(self.bed.top(), &|path, _| chown(path, Some(user), Some(user)).unwrap());
            chown(self.bed.room(), Some(user), Some(user)).unwrap();
        }
    }

    /// Takes the right to write, and gives it back.
    fn writable(&self, is: bool) {
        everything(self.bed.top(), &|path, is_folder| {
            let mode = match (is, is_folder) {
                (true, true) => 0o755,
                (true, false) => 0o644,
                (false, true) => 0o555,
                (false, false) => 0o444,
            };
            fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
        });
    }

    /// Every file with its bytes, git's own among them.
    fn state(&self) -> BTreeMap<PathBuf, Vec<u8>> {
        let all = RefCell::new(BTreeMap::new());
        everything(self.bed.top(), &|path, is_folder| {
            let bytes = if is_folder { Vec::new() } else { fs::read(path).unwrap() };
            all.borrow_mut().insert(path.to_path_buf(), bytes);
        });
        all.into_inner()
    }

    fn command(&self, program: &Path) -> Command {
        let mut command = self.bed.command(program, self.bed.top());
        if is_root() {
            command.uid(NOBODY).gid(NOBODY);
        }
        command
    }

    fn run(&self, arguments: &[&str]) -> Run {
        let mut command = self.command(&self.program);
        Run::of(&command.args(["--today", TODAY]).args(arguments).output().unwrap())
    }
}

const READING: [&[&str]; 6] = [
    &["check", "--notes"],
    &["mass"],
    &["gaps", "--all"],
    &["hook", "run"],
    &["impact"],
    &["check", "--at", "HEAD"],
];

/// What writes, with what its refusal names.
const WRITING: [(&[&str], &str); 6] = [
    (&["conform", "e-new"], "e-new.yaml"),
    (&["decide", "draft", "X", "--set", "recipe/skin#layers.1.angle=90"], "dd-001-x.yaml"),
    (&["hook", "install"], "hooks"),
    (&["report"], "bondline-report"),
    (&["export", "csv"], "bondline-export"),
    (&["export", "xlsx"], "bondline-export.xlsx"),
];

fn refuses_to_write(guarded: &Guarded, why: &[&str]) {
    for (arguments, named) in WRITING {
        let run = guarded.run(arguments);
        super::refused(&run, &["can"]);
        let flat = run.flat();
        // Whoever may not have the lock is told of that: nothing else is tried then.
        assert!(flat.contains(named) || flat.contains("bondline-writing.lock"), "{arguments:?}: {run:?}");
        assert!(why.iter().any(|why| flat.contains(why)), "{arguments:?}: {run:?}");
    }
}

fn with_a_record_to_conform(guarded: &Guarded) {
    let text = guarded.bed.read("evidence/e-adhesion.yaml");
    guarded.bed.write("evidence/e-new.yaml", text.split_once("conformed:").unwrap().0);
    guarded.belongs_to(NOBODY);
}

#[test]
fn what_may_not_be_written_is_read_as_ever_and_written_by_nobody() {
    let guarded = Guarded::new();
    with_a_record_to_conform(&guarded);
    let answers: Vec<Run> = READING.iter().map(|arguments| guarded.run(arguments)).collect();
    fs::remove_dir_all(guarded.bed.top().join(".git/bondline")).unwrap();
    guarded.writable(false);
    let before = guarded.state();
    for (arguments, answer) in READING.iter().zip(&answers) {
        let run = guarded.run(arguments);
        assert_eq!((run.code, &run.out, &run.err), (answer.code, &answer.out, &answer.err), "{arguments:?}");
    }
    refuses_to_write(&guarded, &["Permission denied"]);
    assert_eq!(guarded.state(), before);
    guarded.writable(true);
    assert_eq!(guarded.run(&["conform", "e-new"]).code, Some(0));
}

/// The same on a file system that is mounted so, in a mount namespace of its own.
#[test]
fn a_file_system_that_takes_no_writing() {
    let bed = Bed::small();
    let text = bed.read("evidence/e-adhesion.yaml");
    bed.write("evidence/e-new.yaml", text.split_once("conformed:").unwrap().0);
    let before = bed.state();
    let answer = bed.bondline(&["--no-store", "check", "--notes"]);
    let mounted = |arguments: &[&str]| {
        let mut command = bed.command("unshare", bed.room());
        command.args(["--user", "--map-root-user", "--mount", "sh", "-c"]);
        command
            .arg("mount --bind repo repo && mount -o remount,bind,ro repo || exit 77; cd repo; exec \"$@\"");
        Run::of(&command.arg("sh").args([PROGRAM, "--today", TODAY]).args(arguments).output().unwrap())
    };
    let first = mounted(&["check", "--notes"]);
    if first.code == Some(77) || first.err.contains("unshare") {
        // The other test makes the nearest thing, on every machine.
        eprintln!("no mount namespace here: only folders that may not be written were tried: {}", first.err);
        return;
    }
    assert_eq!((first.code, &first.out, &first.err), (answer.code, &answer.out, &answer.err));
    for (arguments, named) in WRITING {
        let run = mounted(arguments);
        super::refused(&run, &["Read-only file system"]);
        let flat = run.flat();
        assert!(flat.contains(named) || flat.contains("bondline-writing.lock"), "{arguments:?}: {run:?}");
    }
    assert_eq!(bed.state(), before);
}

/// git takes no other user's word for what its settings say; the way on that is named is the way on.
#[test]
fn another_user_s_repository_is_opened_by_whoever_says_so() {
    let guarded = Guarded::new();
    if !is_root() {
        // Nobody else can give files away. What is said then is held by its words alone.
        eprintln!("not root: only the words for a repository of another user were looked at");
        let error = bondline::source::SourceError::Owner { path: PathBuf::from("/their repo") };
        assert_eq!(error.to_string(), "the git repository at /their repo belongs to another user");
        assert!(error.mend().contains("git config --global --add safe.directory '/their repo'"));
        return;
    }
    let alone = guarded.run(&["check"]);
    assert_eq!(alone.code, Some(0), "{alone:?}");
    let _ = fs::remove_dir_all(guarded.bed.top().join(".git/bondline"));
    guarded.belongs_to(NOBODY - 1);
    everything(guarded.bed.top(), &|path, is_folder| {
        let mode = if is_folder { 0o777 } else { 0o666 };
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    });
    let before = guarded.state();
    for arguments in [&["check"][..], &["hook", "run"], &["conform", "e-adhesion"], &["report"]] {
        let run = guarded.run(arguments);
        super::refused(&run, &["belongs to another user", "safe.directory"]);
    }
    assert_eq!(guarded.state(), before);
    // As the mend says; it answers then, and makes no store in what is somebody else's.
    let home = guarded.bed.beside(".gitconfig");
    fs::write(&home, format!("[safe]\n\tdirectory = {}\n", guarded.bed.top().display())).unwrap();
    fs::set_permissions(&home, fs::Permissions::from_mode(0o644)).unwrap();
    let run = guarded.run(&["check"]);
    assert_eq!((run.code, run.out), (Some(0), alone.out), "{}", run.err);
    assert!(!guarded.bed.top().join(".git/bondline").exists());
}
