//! `bondline new`.

use super::args::{ImpactArgs, NewArgs};
use super::context::{Context, Failure, Status};
use super::files::{Unlaid, lay, unlinked};
use crate::record::RecordKind;
use crate::record::schema;
use crate::report::page::count;
use include_dir::{Dir, DirEntry, include_dir};
use serde::Deserialize;
use std::collections::BTreeMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

static EXAMPLE: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/example-project");

/// The open proposal that the main job is run on.
const PROPOSAL: &str = "dd-003";

/// One step of the example's history.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Step {
    date: String,
    message: String,
    #[serde(default)]
    removed: Vec<String>,
}

pub(super) fn run(
    context: &mut Context,
    args: &NewArgs,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let target = match &args.target {
        Some(target) => context.directory.join(target),
        None => context.directory.clone(),
    };
    if args.schemas {
        return with_ids(context, &target, out);
    }
    let busy = fs::read_dir(&target).map(|mut entries| entries.next().is_some());
    match busy {
        Ok(true) => {
            return Err(Failure::new(
                format!("`{}` is not empty", target.display()),
                "name a folder that is empty or does not exist: `bondline new my-ledger`",
            ));
        }
        Ok(false) => {}
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
        Err(error) => {
            return Err(Failure::new(
                format!("`{}` can't be used: {error}", target.display()),
                "name another folder",
            ));
        }
    }
    fs::create_dir_all(&target).map_err(|error| cannot_write(&target, &error))?;
    if args.example { example(context, &target, out, err) } else { empty(context, &target, out) }
}

fn cannot_write(path: &Path, error: &std::io::Error) -> Failure {
    Failure::new(
        format!("`{}` can't be written: {error}", path.display()),
        "name a folder that can be written to",
    )
}

/// Writes a file below a folder, through no link.
fn write(folder: &Path, file: &str, bytes: &[u8]) -> Result<(), Failure> {
    lay(folder, file, bytes).map_err(|error| error.failure("name a folder that can be written to"))
}

const HEAD: &str = "format: 1
programme: Unnamed programme
units: si
currency: EUR
milestones: [first-article, first-flight, type-approval, production]
";

fn empty(context: &Context, target: &Path, out: &mut dyn Write) -> Result<Status, Failure> {
    write(target, "ledger.yaml", HEAD.as_bytes())?;
    for kind in RecordKind::ALL {
        write(target, &format!("{}/.gitkeep", kind.folder()), b"")?;
    }
    schemas(target, &|_| Vec::new())?;
    write(target, SETTINGS, settings().as_bytes())?;
    if context.json() {
        let document = serde_json::json!({ "schema": "new/1", "ledger": target.display().to_string() });
        writeln!(out, "{document:#}")?;
        return Ok(Status::Done);
    }
    writeln!(out, "An empty ledger is laid in {}.", target.display())?;
    writeln!(out, "Records are YAML files in the folders of their kinds; editors that read YAML schemas")?;
    writeln!(out, "find them wired in .vscode/settings.json and .schemas/.")?;
    writeln!(out)?;
    writeln!(out, "Next:")?;
    writeln!(out, "  git -C {} init", shown(target))?;
    writeln!(out, "  bondline -C {} check", shown(target))?;
    writeln!(out, "  bondline -C {} hook install", shown(target))?;
    Ok(Status::Done)
}

/// Where one editor looks for what belongs to a folder.
const SETTINGS: &str = ".vscode/settings.json";

/// All kinds, the ledger's head among them.
fn kinds() -> impl Iterator<Item = RecordKind> {
    std::iter::once(RecordKind::Ledger).chain(RecordKind::ALL.iter().copied())
}

fn schema_file(kind: RecordKind) -> String {
    format!(".schemas/{kind}.schema.json")
}

/// Schemas beside the ledger, with the ids that it has.
fn schemas(target: &Path, ids: &dyn Fn(RecordKind) -> Vec<String>) -> Result<(), Failure> {
    for kind in kinds() {
        let own = schema::with_ids(schema::of(kind), ids);
        write(target, &schema_file(kind), format!("{own:#}\n").as_bytes())?;
    }
    Ok(())
}

/// The settings by which editors find the schemas.
fn settings() -> String {
    let wired: BTreeMap<String, String> = kinds()
        .map(|kind| {
            let files = match kind {
                RecordKind::Ledger => "ledger.yaml".to_string(),
                kind => format!("{}/**/*.yaml", kind.folder()),
            };
            (format!("./{}", schema_file(kind)), files)
        })
        .collect();
    let settings = serde_json::json!({ "yaml.schemas": wired });
    format!("{settings:#}\n")
}

/// Writes the schemas of a ledger that is there. What somebody wrote into an editor's settings is left as it is.
fn with_ids(context: &Context, target: &Path, out: &mut dyn Write) -> Result<Status, Failure> {
    let own = context.standing_in(target);
    let place = own.place()?;
    let loaded = own.read(place.work_tree()?);
    let ids = |kind: RecordKind| loaded.ledger.ids(kind).into_iter().map(str::to_string).collect::<Vec<_>>();
    let root = place.root();
    let folder = root.join(".schemas");
    // Before any is written: they are of one state, or as they were.
    for kind in kinds() {
        unlinked(root, &schema_file(kind))
            .map_err(|error| error.failure("put a file or a folder of its own there"))?;
    }
    schemas(root, &ids)?;
    let named: usize = RecordKind::ALL.iter().map(|kind| ids(*kind).len()).sum();
    // A folder that is linked is somebody else's, whatever is in it.
    let is_wired = root.join(SETTINGS).symlink_metadata().is_ok() || unlinked(root, SETTINGS).is_err();
    if !is_wired {
        write(root, SETTINGS, settings().as_bytes())?;
    }
    if context.json() {
        let document = serde_json::json!({
            "schema": "new/1", "ledger": root.display().to_string(), "ids": named, "settings": !is_wired,
        });
        writeln!(out, "{document:#}")?;
        return Ok(Status::Done);
    }
    writeln!(out, "Schemas with {} are in {}.", count(named, "id"), folder.display())?;
    if is_wired {
        match unlinked(root, SETTINGS) {
            Err(Unlaid::Link(link)) => writeln!(
                out,
                "`{}` is a link: nothing is written through it; the schemas are found where {SETTINGS} has",
                link.display()
            )?,
            _ => writeln!(
                out,
                "{SETTINGS} is there and was left as it is; the schemas are found where it has"
            )?,
        }
        write!(out, "{}", settings())?;
    }
    Ok(Status::Done)
}

fn example(
    context: &mut Context,
    target: &Path,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> Result<Status, Failure> {
    let commits = lay_history(target)?;
    let mut inner = context.standing_in(target);
    if context.json() {
        let args = ImpactArgs { of: vec![PROPOSAL.to_string()], ..ImpactArgs::default() };
        return super::impact::run(&mut inner, &args, out, err);
    }
    let name = shown(target);
    writeln!(out, "The invented Sanderling example is laid in {name}, with {commits} commits of history.")?;
    writeln!(out, "Everything in it is made up. Its open proposal, {PROPOSAL}, is judged below:")?;
    writeln!(out, "  bondline -C {name} impact {PROPOSAL}")?;
    writeln!(out)?;
    let args = ImpactArgs { of: vec![PROPOSAL.to_string()], ..ImpactArgs::default() };
    super::impact::run(&mut inner, &args, out, err)?;
    writeln!(out)?;
    writeln!(out, "Three commands to try next:")?;
    writeln!(out, "  bondline -C {name} gaps                # what is not met, and what closes it")?;
    writeln!(out, "  bondline -C {name} mass bow-hatch      # a figure opened into its contributions")?;
    writeln!(out, "  bondline -C {name} hook install        # then try to commit an unproved change")?;
    Ok(Status::Done)
}

fn shown(path: &Path) -> String {
    let here = std::env::current_dir().ok();
    let short = here
        .and_then(|here| path.strip_prefix(here).ok().map(Path::to_path_buf))
        .unwrap_or_else(|| path.to_path_buf());
    let text = short.display().to_string();
    if text.is_empty() { ".".to_string() } else { text }
}

/// Lays the steps of the history as commits and returns how many there are.
fn lay_history(target: &Path) -> Result<usize, Failure> {
    let broken =
        |what: &str| Failure::new(format!("the example in this program is broken: {what}"), "report it");
    let git = |error: git2::Error| {
        Failure::new(format!("git refused to lay the example: {}", error.message()), "name another folder")
    };
    let mut options = git2::RepositoryInitOptions::new();
    // Whatever the user's own git is set to: no templates (hooks among them) and a fixed branch.
    options.initial_head("main").external_template(false);
    let repository = git2::Repository::init_opts(target, &options).map_err(git)?;
    let history = EXAMPLE.get_dir("history").ok_or_else(|| broken("no history"))?;
    let mut steps: Vec<&Dir<'_>> = history.dirs().collect();
    steps.sort_by_key(|step| step.path());
    let mut files: BTreeMap<PathBuf, &[u8]> = BTreeMap::new();
    let mut parent: Option<git2::Oid> = None;
    for folder in &steps {
        let mut all = Vec::new();
        gather(folder, &mut all);
        let mut step = None;
        for file in all {
            let path = file.path().strip_prefix(folder.path()).map_err(|_| broken("a path"))?;
            if path == Path::new("step.yaml") {
                step = serde_yaml::from_slice::<Step>(file.contents()).ok();
            } else {
                write(target, &path.to_string_lossy(), file.contents())?;
                files.insert(path.to_path_buf(), file.contents());
            }
        }
        let step = step.ok_or_else(|| broken(&format!("{}", folder.path().display())))?;
        for path in &step.removed {
            files.remove(Path::new(path));
            let path = target.join(path);
            fs::remove_file(&path).map_err(|error| cannot_write(&path, &error))?;
        }
        let mut index = repository.index().map_err(git)?;
        index.clear().map_err(git)?;
        for path in files.keys() {
            index.add_path(path).map_err(git)?;
        }
        index.write().map_err(git)?;
        let tree = repository.find_tree(index.write_tree().map_err(git)?).map_err(git)?;
        let moment: jiff::Timestamp = step.date.parse().map_err(|_| broken("a date"))?;
        let when = git2::Time::new(moment.as_second(), 0);
        let who =
            git2::Signature::new("Sanderling example", "sanderling@example.invalid", &when).map_err(git)?;
        let parents = match parent {
            Some(id) => vec![repository.find_commit(id).map_err(git)?],
            None => Vec::new(),
        };
        let parents: Vec<&git2::Commit<'_>> = parents.iter().collect();
        parent = Some(
            repository
                .commit(Some("HEAD"), &who, &who, &format!("{}\n", step.message.trim_end()), &tree, &parents)
                .map_err(git)?,
        );
    }
    Ok(steps.len())
}

fn gather<'a>(folder: &'a Dir<'a>, into: &mut Vec<&'a include_dir::File<'a>>) {
    for entry in folder.entries() {
        match entry {
            DirEntry::Dir(inner) => gather(inner, into),
            DirEntry::File(file) => into.push(file),
        }
    }
}
