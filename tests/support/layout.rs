//! Lays a golden case's files on disk: the base, commits, the index, the work tree, and what a recipe makes.

use super::words::unescape;
use super::{files, root};
use git2::{IndexAddOption, RepositoryInitOptions, Signature, Time};
use std::fs;
use std::path::Path;

/// Writes a file and the folders above it.
pub fn write(path: &Path, bytes: &[u8]) {
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    fs::write(path, bytes).unwrap();
}

/// Lays a shared base: a folder of `tests/golden/base/`, or `example` for the example project.
pub fn lay_base(name: &str, ledger: &Path) {
    let (folder, history) = match name {
        "example" => (root().join("example-project"), true),
        name => (root().join("tests/golden/base").join(name), false),
    };
    assert!(folder.is_dir(), "there is no base `{name}`");
    for file in files(&folder) {
        if history && file.starts_with("history/") {
            continue;
        }
        write(&ledger.join(&file), &fs::read(folder.join(&file)).unwrap());
    }
}

/// Ids of commits, by the texts that stand for them in a case's files: `{lib 01}`.
type Ids = Vec<(String, String)>;

/// Lays a folder of whole files over the ledger; its file `removed` lists files to take away.
fn overlay(folder: &Path, ledger: &Path, ids: &Ids) {
    for file in files(folder) {
        if file == "removed" {
            remove(&fs::read_to_string(folder.join(file)).unwrap(), ledger);
            continue;
        }
        let mut bytes = fs::read(folder.join(&file)).unwrap();
        if let (false, Ok(text)) = (ids.is_empty(), std::str::from_utf8(&bytes)) {
            bytes = ids.iter().fold(text.to_string(), |text, (mark, id)| text.replace(mark, id)).into_bytes();
        }
        write(&ledger.join(&file), &bytes);
    }
}

/// Makes the repositories that lie beside the ledger, each step of one a commit.
fn beside(case: &Path, ledger: &Path) -> Ids {
    let mut ids = Ids::new();
    let sorted = |folder: &Path| {
        let all = fs::read_dir(folder).into_iter().flatten();
        let mut all: Vec<_> = all.map(|own| own.unwrap().path()).collect();
        all.sort();
        all
    };
    for repository in sorted(&case.join("beside")) {
        let name = repository.file_name().unwrap().to_string_lossy().into_owned();
        let place = ledger.parent().unwrap().join(&name);
        fs::create_dir_all(&place).unwrap();
        init(&place);
        for step in sorted(&repository) {
            overlay(&step, &place, &ids);
            let step = step.file_name().unwrap().to_string_lossy().into_owned();
            commit(&place, &step);
            let head = git2::Repository::open(&place).unwrap().head().unwrap().target().unwrap();
            ids.push((format!("{{{name} {step}}}"), head.to_string()));
        }
    }
    ids
}

fn remove(list: &str, ledger: &Path) {
    for path in list.lines().map(str::trim).filter(|line| !line.is_empty()) {
        fs::remove_file(ledger.join(path)).unwrap_or_else(|error| panic!("removing {path}: {error}"));
    }
}

/// Lays a whole case.
pub fn lay(case: &Path, ledger: &Path) {
    if let Ok(name) = fs::read_to_string(case.join("base")) {
        lay_base(name.trim(), ledger);
    }
    let ids = beside(case, ledger);
    let (commits, staged) = (case.join("commits"), case.join("staged"));
    if commits.is_dir() || staged.is_dir() || case.join("git").is_file() {
        init(ledger);
        if files(ledger).iter().any(|file| !file.starts_with(".git/")) {
            commit(ledger, "base");
        }
    }
    if commits.is_dir() {
        let mut steps: Vec<_> = fs::read_dir(&commits).unwrap().map(|step| step.unwrap().path()).collect();
        steps.sort();
        for step in steps {
            overlay(&step, ledger, &ids);
            commit(ledger, &step.file_name().unwrap().to_string_lossy());
        }
    }
    if staged.is_dir() {
        overlay(&staged, ledger, &ids);
        stage(ledger);
    }
    overlay(&case.join("ledger"), ledger, &ids);
    if let Ok(list) = fs::read_to_string(case.join("removed")) {
        remove(&list, ledger);
    }
    if let Ok(recipe) = fs::read_to_string(case.join("make")) {
        make(&recipe, ledger);
    }
}

/// Makes files that can't well stand in a repository as they are. Each line is one of
/// `text PATH TEXT`, `repeat PATH TEXT COUNT` (both append; `\n \t \r \s \\` are read in TEXT),
/// `bytes PATH HEX` (appends), `crlf PATH` (turns the line ends), `link PATH TARGET`, `folder PATH`.
fn make(recipe: &str, ledger: &Path) {
    for line in recipe.lines().filter(|line| !line.is_empty() && !line.starts_with('#')) {
        let words: Vec<&str> = line.split(' ').collect();
        let append = |path: &str, bytes: &[u8]| {
            let path = ledger.join(path);
            let mut all = fs::read(&path).unwrap_or_default();
            all.extend_from_slice(bytes);
            write(&path, &all);
        };
        match words.as_slice() {
            ["text", path, text @ ..] => append(path, unescape(&text.join(" ")).as_bytes()),
            ["repeat", path, text @ .., count] => {
                append(path, unescape(&text.join(" ")).repeat(count.parse().unwrap()).as_bytes());
            }
            ["bytes", path, hex] => {
                let digits: Vec<u8> =
                    hex.bytes().map(|digit| (digit as char).to_digit(16).unwrap() as u8).collect();
                append(path, &digits.chunks(2).map(|pair| pair[0] * 16 + pair[1]).collect::<Vec<u8>>());
            }
            ["crlf", path] => {
                let text = fs::read_to_string(ledger.join(path)).unwrap();
                write(&ledger.join(path), text.replace('\n', "\r\n").as_bytes());
            }
            ["link", path, target] => link(&ledger.join(path), target),
            ["fifo", path] => {
                assert!(
                    std::process::Command::new("mkfifo").arg(ledger.join(path)).status().unwrap().success()
                );
            }
            ["folder", path] => fs::create_dir_all(ledger.join(path)).unwrap(),
            _ => panic!("no recipe: {line}"),
        }
    }
}

#[cfg(unix)]
fn link(path: &Path, target: &str) {
    fs::create_dir_all(path.parent().unwrap()).unwrap();
    std::os::unix::fs::symlink(target, path).unwrap();
}

#[cfg(not(unix))]
fn link(_: &Path, _: &str) {
    panic!("this case needs links");
}

fn who(repository: &git2::Repository) -> Signature<'static> {
    // A day apart, so that the order of commits shows.
    let before = repository.head().map_or(0, |head| {
        let commit = head.peel_to_commit().unwrap();
        commit.time().seconds() + 86_400
    });
    Signature::new("A. Tester", "tester@example.org", &Time::new(before.max(1_770_000_000), 0)).unwrap()
}

/// Makes the folder a repository that no user's configuration reaches into.
pub fn init(ledger: &Path) {
    let mut options = RepositoryInitOptions::new();
    options.initial_head("main").external_template(false);
    let repository = git2::Repository::init_opts(ledger, &options).unwrap();
    let mut config = repository.config().unwrap();
    config.set_str("core.excludesFile", "/dev/null").unwrap();
    config.set_str("core.attributesFile", "/dev/null").unwrap();
    config.set_bool("core.autocrlf", false).unwrap();
    config.set_str("core.hooksPath", ".git/hooks").unwrap();
}

/// Brings the index to what is on disk.
pub fn stage(ledger: &Path) {
    let repository = git2::Repository::open(ledger).unwrap();
    let mut index = repository.index().unwrap();
    index.add_all(["*"], IndexAddOption::DEFAULT, None).unwrap();
    index.update_all(["*"], None).unwrap();
    index.write().unwrap();
}

/// Commits everything on disk.
pub fn commit(ledger: &Path, message: &str) {
    stage(ledger);
    let repository = git2::Repository::open(ledger).unwrap();
    let tree = repository.find_tree(repository.index().unwrap().write_tree().unwrap()).unwrap();
    let parent = repository.head().ok().map(|head| head.peel_to_commit().unwrap());
    let who = who(&repository);
    let parents: Vec<_> = parent.iter().collect();
    repository.commit(Some("HEAD"), &who, &who, message, &tree, &parents).unwrap();
}
