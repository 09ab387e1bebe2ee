//! What can be typed: no logic, only names and help.

use crate::change::import::ImportKind;
use crate::record::Figure;
use clap::{Args, Parser, Subcommand, ValueEnum};
use std::path::PathBuf;

const AFTER: &str = "Exit status: 0 done; 1 done, with something to object to (a fault in `check`, a refused commit in \
`hook run`, and with --strict anything in `gaps`, `mass`, `impact`); 2 it could not be done.

An engineering aid, not approved data: the authority, the approved design organisation and local rules decide.";

/// The design-decision ledger of a composite airframe: what a change weighs, what it un-proves, and
/// what it takes to prove it again
#[derive(Debug, Parser)]
#[command(name = "bondline", version, max_term_width = 100, after_help = AFTER, propagate_version = true)]
pub struct Cli {
    /// Options that stand before or after the command.
    #[command(flatten)]
    pub global: Global,
    /// The command.
    #[command(subcommand)]
    pub command: Command,
}

/// How results are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people
    Text,
    /// For programs: one document on standard output
    Json,
    /// Findings for code hosts, SARIF 2.1.0: `check`, `hook run`
    Sarif,
    /// Test cases for CI: `check`, `gaps`, `hook run`
    Junit,
    /// A summary for a merge request: `impact`
    Markdown,
}

impl Format {
    /// Returns the word that is typed.
    pub fn word(self) -> &'static str {
        match self {
            Format::Text => "text",
            Format::Json => "json",
            Format::Sarif => "sarif",
            Format::Junit => "junit",
            Format::Markdown => "markdown",
        }
    }

    /// Returns the commands that answer in a format that not every command has; none where all do.
    pub fn only(self) -> &'static [&'static str] {
        match self {
            Format::Text | Format::Json => &[],
            Format::Sarif => &["check", "hook run"],
            Format::Junit => &["check", "gaps", "hook run"],
            Format::Markdown => &["impact"],
        }
    }
}

/// When colour is used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Colour {
    /// On a terminal that asks for no other
    Auto,
    /// Always
    Always,
    /// Never
    Never,
}

/// Options of every command.
#[derive(Debug, Args)]
pub struct Global {
    /// Move to this folder first; the ledger is found from there by walking up
    #[arg(short = 'C', value_name = "DIR", global = true)]
    pub directory: Option<PathBuf>,
    /// Write results so; every command has text and JSON
    #[arg(long, value_enum, default_value = "text", global = true)]
    pub format: Format,
    /// Take this day as today (year-month-day)
    #[arg(long, value_name = "DATE", global = true)]
    pub today: Option<String>,
    /// Use colour
    #[arg(long, value_enum, default_value = "auto", global = true)]
    pub color: Colour,
    /// Show long text at once, not through $PAGER
    #[arg(long, global = true)]
    pub no_pager: bool,
    /// Neither use nor keep what was worked out once: the answer is the same, and later
    #[arg(long, global = true)]
    pub no_store: bool,
}

/// The commands.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Start a ledger, or lay out the invented example
    New(NewArgs),
    /// Read everything and report every fault
    Check(CheckArgs),
    /// Say what the programme, a panel or an assembly weighs
    Mass(MassArgs),
    /// Show a recipe's stack to scale, its stiffness, and the margins of the panels that use it
    Laminate(LaminateArgs),
    /// Show everything about one panel: mass, margins, plate, section, heat, tooling, duties
    Panel(PanelArgs),
    /// Say what a change weighs, what it un-proves, and what proves it again
    Impact(ImpactArgs),
    /// Draft, propose, approve, carry out and close design decisions
    Decide(DecideArgs),
    /// Put decisions or revisions side by side, and say what they do together
    Compare(CompareArgs),
    /// Say how far each figure can move before something lapses, and what that costs
    Leeway(LeewayArgs),
    /// List the duties that are not met, and what closes each
    Gaps(GapsArgs),
    /// Show the chain behind a record, a figure or a verdict
    Why(WhyArgs),
    /// Show mass and verdicts through the commits, and how far off predictions were
    History(HistoryArgs),
    /// Write the pages that people look at: the programme today, changes, records
    Report(ReportArgs),
    /// Show the same pages in a browser, drawn anew when a file changes
    View(ViewArgs),
    /// Search what a study allows: grams saved against the weeks and the cost of proving again
    Study(StudyArgs),
    /// List figures that stand on no evidence, and what stands on them
    Assumptions(AssumptionsArgs),
    /// Write what an article was, by value, into its evidence
    Conform(ConformArgs),
    /// Compute design values from specimens, with every step and the decision at each
    Basis(BasisArgs),
    /// Check one formula alone: inputs typed in YAML with units, answered with steps and source
    Calc(CalcArgs),
    /// Install, remove or run the gate on commits
    Hook(HookArgs),
    /// Write mass, margins, duties, evidence and the rest as tables for other tools
    Export(ExportArgs),
    /// Make records of a spreadsheet's rows
    Import(ImportArgs),
    /// Say what was kept of earlier answers, take it away, or work it out anew and compare
    Store(StoreArgs),
    /// Print what completes commands, options and record ids in a shell
    Completions(CompletionsArgs),
    /// Print the manual page, or write one for each command
    Man(ManArgs),
    /// Name the records that begin so
    #[command(hide = true)]
    Complete(CompleteArgs),
}

impl Command {
    /// Returns the command's name as typed, with what stands behind it where formats depend on that.
    pub fn name(&self) -> &'static str {
        match self {
            Command::New(_) => "new",
            Command::Check(_) => "check",
            Command::Mass(_) => "mass",
            Command::Laminate(_) => "laminate",
            Command::Panel(_) => "panel",
            Command::Impact(_) => "impact",
            Command::Decide(_) => "decide",
            Command::Compare(_) => "compare",
            Command::Leeway(_) => "leeway",
            Command::Gaps(_) => "gaps",
            Command::Why(_) => "why",
            Command::History(_) => "history",
            Command::Report(_) => "report",
            Command::View(_) => "view",
            Command::Study(_) => "study",
            Command::Assumptions(_) => "assumptions",
            Command::Conform(_) => "conform",
            Command::Basis(_) => "basis",
            Command::Export(_) => "export",
            Command::Import(_) => "import",
            Command::Completions(_) => "completions",
            Command::Man(_) => "man",
            Command::Complete(_) => "complete",
            Command::Calc(_) => "calc",
            Command::Store(args) => match args.what {
                StoreCommand::Status => "store status",
                StoreCommand::Clear => "store clear",
                StoreCommand::Verify => "store verify",
            },
            Command::Hook(args) => match args.what {
                HookCommand::Install => "hook install",
                HookCommand::Remove => "hook remove",
                HookCommand::Run(_) => "hook run",
                HookCommand::Decisions => "hook decisions",
            },
        }
    }
}

impl Command {
    /// Returns the day of the past that a command reads, with where the commit that it comes to is put.
    pub fn as_of(&mut self) -> Option<(&str, &mut Option<String>)> {
        let (as_of, at) = match self {
            Command::Check(CheckArgs { source, .. })
            | Command::Mass(MassArgs { source, .. })
            | Command::Laminate(LaminateArgs { source, .. })
            | Command::Panel(PanelArgs { source, .. })
            | Command::Leeway(LeewayArgs { source, .. })
            | Command::Gaps(GapsArgs { source, .. })
            | Command::Why(WhyArgs { source, .. })
            | Command::Report(ReportArgs { source, .. })
            | Command::View(ViewArgs { source, .. })
            | Command::Study(StudyArgs { source, .. })
            | Command::Assumptions(AssumptionsArgs { source, .. })
            | Command::Basis(BasisArgs { source, .. })
            | Command::Export(ExportArgs { source, .. })
            | Command::Decide(DecideArgs {
                what:
                    DecideCommand::List(ListArgs { source, .. }) | DecideCommand::Show(ShowArgs { source, .. }),
            }) => (&source.as_of, &mut source.at),
            Command::Impact(ImpactArgs { as_of, at, .. })
            | Command::History(HistoryArgs { as_of, at, .. })
            | Command::Compare(CompareArgs { as_of, base: at, .. }) => (&*as_of, at),
            _ => return None,
        };
        Some((as_of.day.as_deref()?, at))
    }
}

/// Which state of the ledger is read.
#[derive(Debug, Clone, Default, Args)]
pub struct Source {
    /// Read this revision instead of the work tree
    #[arg(long, value_name = "REV", conflicts_with = "staged")]
    pub at: Option<String>,
    /// Read the index instead of the work tree
    #[arg(long, conflicts_with = "as_of")]
    pub staged: bool,
    #[command(flatten)]
    pub as_of: AsOf,
}

impl Source {
    /// A revision.
    pub fn at(revision: &str) -> Self {
        Self { at: Some(revision.to_string()), ..Self::default() }
    }
}

/// A day of the past that is taken as today.
#[derive(Debug, Clone, Default, Args)]
pub struct AsOf {
    /// Read the last commit of this day or before, along first parents, and take the day as today
    #[arg(id = "as_of", long = "as-of", value_name = "DATE", conflicts_with_all = ["at", "today"])]
    pub day: Option<String>,
}

/// What is laid over the state that is read.
#[derive(Debug, Clone, Default, Args)]
pub struct With {
    /// Lay a decision's changes over it, without editing a file; several one after the other, with commas
    /// or by repeating the option
    #[arg(long, value_name = "DECISION", value_delimiter = ',')]
    pub with: Vec<String>,
}

/// Start a ledger, or lay out the invented example
///
/// Without --example, an empty ledger: ledger.yaml, the folders of the kinds, and schemas wired for
/// editors. With --example, the invented Sanderling amphibian with its history as a git repository;
/// then the main job is run on its open proposal. With --schemas, the schemas of a ledger that is there
/// are written anew with the ids of its records, so that editors complete them.
#[derive(Debug, Args)]
pub struct NewArgs {
    /// Where; must be empty or not exist, but for --schemas
    #[arg(value_name = "DIR")]
    pub target: Option<PathBuf>,
    /// Lay out the invented example and run the main job on it
    #[arg(long, conflicts_with = "schemas")]
    pub example: bool,
    /// Write .schemas/ of a ledger that is there anew, with its ids; no record is touched
    #[arg(long)]
    pub schemas: bool,
}

/// Read everything and report every fault
///
/// All faults are reported in one run, each with file, line, column and the mend. Exits with 1 where a
/// record can't be used as it stands; warnings and notes alone exit with 0.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Show notes too
    #[arg(long)]
    pub notes: bool,
}

/// Say what the programme, a panel or an assembly weighs
///
/// Every figure opens into its contributions: name a panel or an assembly to see them.
#[derive(Debug, Args)]
pub struct MassArgs {
    /// A panel or an assembly: id, `panel/ID`, `assembly/ID` or the file
    #[arg(value_name = "PANEL|ASSEMBLY")]
    pub of: Option<String>,
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Decisions laid over it
    #[command(flatten)]
    pub with: With,
    /// Say what it costs to make too: bought, mould, labour
    #[arg(long)]
    pub cost: bool,
    /// How tolerances are combined
    #[arg(long, value_name = "HOW", default_value = "causes", value_parser = ["causes", "monte-carlo"])]
    pub spread: String,
    /// Seed of the sampling
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Show weighed against predicted, piece by piece and stage by stage
    #[arg(long)]
    pub weighings: bool,
    /// Show which contributors the weighings say are off, and the mass with that; changes no prediction
    #[arg(long)]
    pub learned: bool,
    /// Exit with 1 where a budget is exceeded; with --weighings where a piece is on hold
    #[arg(long)]
    pub strict: bool,
}

/// Show a recipe's stack to scale, its stiffness, and the margins of the panels that use it
///
/// Stiffness counts the layers with elastic values, about the middle of what carries; thickness and mass
/// count every layer. Margins stand on the design values in force: typed in, or from a showing's evidence.
#[derive(Debug, Args)]
pub struct LaminateArgs {
    /// A recipe: id, `recipe/ID` or the file
    #[arg(value_name = "RECIPE")]
    pub recipe: String,
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Decisions laid over it
    #[command(flatten)]
    pub with: With,
    /// Show long lists whole
    #[arg(long)]
    pub all: bool,
}

/// Show everything about one panel: mass, margins, plate, section, heat, tooling, duties
///
/// The least margin of each load case is shown, with the mode and the layer that govern; --all shows every
/// criterion. What can't be computed is said with what is missing.
#[derive(Debug, Args)]
pub struct PanelArgs {
    /// A panel: id, `panel/ID` or the file
    #[arg(value_name = "PANEL")]
    pub panel: String,
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Decisions laid over it
    #[command(flatten)]
    pub with: With,
    /// Show every criterion, and long lists whole
    #[arg(long)]
    pub all: bool,
}

/// Say what a change weighs, what it un-proves, and what proves it again
///
/// `impact` alone compares HEAD with the work tree; `impact BASE` compares BASE with the work tree;
/// `impact BASE HEAD` compares two revisions; `impact --staged` compares HEAD with the index. An
/// argument that is a decision's id lays the decision's changes over the work tree, without editing a
/// file: `impact dd-003`. `impact --merge A B` merges two branches in memory and says first what they un-prove
/// together and neither does alone.
#[derive(Debug, Default, Args)]
pub struct ImpactArgs {
    /// Revisions, or decisions
    #[arg(value_name = "BASE|DECISION")]
    pub of: Vec<String>,
    /// Compare HEAD with the index
    #[arg(long, conflicts_with_all = ["of", "as_of"])]
    pub staged: bool,
    /// Merge two branches in memory and compare with their common commit: each alone, and together
    #[arg(long, num_args = 2, value_names = ["A", "B"], conflicts_with_all = ["of", "staged", "at", "as_of"])]
    pub merge: Vec<String>,
    /// Lay decisions over this revision instead of the work tree
    #[arg(long, value_name = "REV", conflicts_with = "staged")]
    pub at: Option<String>,
    #[command(flatten)]
    pub as_of: AsOf,
    /// Show long lists whole
    #[arg(long)]
    pub all: bool,
    /// Exit with 1 where a duty gets worse
    #[arg(long)]
    pub strict: bool,
}

/// Draft, propose, approve, carry out and close design decisions
///
/// A decision is a record that carries its own change: it can be evaluated before anyone edits a recipe
/// (`bondline impact dd-007`), and is held to its prediction afterwards.
#[derive(Debug, Args)]
pub struct DecideArgs {
    /// What to do
    #[command(subcommand)]
    pub what: DecideCommand,
}

/// What to do with decisions.
#[derive(Debug, Subcommand)]
pub enum DecideCommand {
    /// Write a new decision from changes typed here, or from the edits in the work tree
    Draft(DraftArgs),
    /// Freeze what a decision is predicted to do, and open it for approval
    Propose(DecisionArgs),
    /// Enter an approval, as typed
    Approve(ApproveArgs),
    /// Carry a decision out: edit the records in place
    Apply(ApplyArgs),
    /// Bring a decision up to records that have moved on since
    Rebase(DecisionArgs),
    /// Hold a decision to its prediction: write what came true
    Close(CloseArgs),
    /// List the decisions
    List(ListArgs),
    /// Show one decision
    Show(ShowArgs),
    /// Give a decision another number, where two branches picked the same
    Renumber(RenumberArgs),
}

/// Write a new decision from changes typed here, or from the edits in the work tree
///
/// Places are written `kind/id#route`, values as in the records: `--set 'recipe/hatch-outer#layers.3.angle=45'`.
/// All places refer to the records as they are now, before any of the changes. The number is one more than the
/// highest in the work tree, the index and every local and remote-tracking branch.
#[derive(Debug, Args)]
pub struct DraftArgs {
    /// The title
    #[arg(value_name = "TITLE")]
    pub title: String,
    /// Set the value at a place
    #[arg(long, value_name = "PLACE=VALUE")]
    pub set: Vec<String>,
    /// Take the entry or key at a place out
    #[arg(long, value_name = "PLACE")]
    pub remove: Vec<String>,
    /// Put an entry behind a place of a list: `recipe/x#layers.5={material: y, angle: 0}`; place 0 is the front
    #[arg(long, value_name = "PLACE=ENTRY")]
    pub insert: Vec<String>,
    /// Add a record: from a file, or as a copy of another record (`material/b=material/a`)
    #[arg(long, value_name = "KIND/ID=FILE|RECORD")]
    pub add: Vec<String>,
    /// Drop a record
    #[arg(long, value_name = "KIND/ID")]
    pub drop: Vec<String>,
    /// Take the edits in the work tree since HEAD as the changes; the work tree stays as it is
    #[arg(long, conflicts_with_all = ["set", "remove", "insert", "add", "drop"])]
    pub from_worktree: bool,
    /// Why
    #[arg(long, value_name = "TEXT")]
    pub why: Option<String>,
    /// The role that keeps it
    #[arg(long, value_name = "ROLE")]
    pub owner: Option<String>,
    /// The decision that it replaces
    #[arg(long, value_name = "DECISION")]
    pub supersedes: Option<String>,
    /// Show what would be written and write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// One decision.
#[derive(Debug, Args)]
pub struct DecisionArgs {
    /// A decision: `dd-007`, its whole id, or the file
    #[arg(value_name = "DECISION")]
    pub decision: String,
    /// Show what would be written and write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// Enter an approval, as typed
///
/// Which roles must approve, and how many different people, stands in `approvals` of ledger.yaml. An approval
/// is what was typed; it is no signature for certification.
#[derive(Debug, Args)]
pub struct ApproveArgs {
    /// A decision: `dd-007`, its whole id, or the file
    #[arg(value_name = "DECISION")]
    pub decision: String,
    /// The role that approves
    #[arg(long, value_name = "ROLE")]
    pub role: String,
    /// Who approves
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Show what would be written and write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// Carry a decision out: edit the records in place
///
/// All files or none change; comments, order, quoting and blank lines stay to the byte elsewhere. Refused where
/// a record has moved on since the proposal.
#[derive(Debug, Args)]
pub struct ApplyArgs {
    /// A decision: `dd-007`, its whole id, or the file
    #[arg(value_name = "DECISION")]
    pub decision: String,
    /// Take a decision back that was carried out and is not committed yet
    #[arg(long)]
    pub undo: bool,
    /// Show what would be written and write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// Hold a decision to its prediction: write what came true
///
/// Mass from weighings where there are any, duties earned again with the day of their evidence, weeks taken
/// since the approval. What stands under `found` as text is kept as a note.
#[derive(Debug, Args)]
pub struct CloseArgs {
    /// A decision: `dd-007`, its whole id, or the file
    #[arg(value_name = "DECISION")]
    pub decision: String,
    /// Words to keep with it
    #[arg(long, value_name = "TEXT")]
    pub note: Option<String>,
    /// Show what would be written and write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// List the decisions
#[derive(Debug, Args)]
pub struct ListArgs {
    /// Only those of this status
    #[arg(long, value_name = "STATUS")]
    pub status: Option<String>,
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
}

/// Show one decision
#[derive(Debug, Args)]
pub struct ShowArgs {
    /// A decision: `dd-007`, its whole id, or the file
    #[arg(value_name = "DECISION")]
    pub decision: String,
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
}

/// Give a decision another number, where two branches picked the same
///
/// Without an argument, of two decisions with one number the one that is not approved gets the next free number,
/// the later one if neither is. References to it are rewritten.
#[derive(Debug, Args)]
pub struct RenumberArgs {
    /// The decision to renumber
    #[arg(value_name = "DECISION")]
    pub decision: Option<String>,
    /// Show what would be written and write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// Put decisions or revisions side by side, and say what they do together
///
/// Decisions are laid over the work tree, or the state of the day of `--as-of`, each alone and then together:
/// `compare dd-003 dd-004`. Revisions are compared with the commit that all have in common and merged in memory:
/// `compare main lighter-mesh`. An argument that is a decision's id is a decision. Up to four changes are joined
/// pair by pair, more all at once. Together are shown: retests that several share, what lapses only together, what
/// one gives back that another takes, and places that two leave at different values.
#[derive(Debug, Args)]
pub struct CompareArgs {
    /// Two or more decisions, or two or more revisions
    #[arg(value_name = "DECISION|REV", required = true, num_args = 2..)]
    pub of: Vec<String>,
    /// Compare with this revision: decisions are laid over it
    // By the name that a day of the past excludes.
    #[arg(id = "at", long = "base", value_name = "REV")]
    pub base: Option<String>,
    #[command(flatten)]
    pub as_of: AsOf,
    /// Show long lists whole
    #[arg(long)]
    pub all: bool,
}

/// Say how far each figure can move before something lapses, and what that costs
///
/// `leeway` alone shows the tightest figure behind each recipe and finish in use; with a recipe, a finish or a
/// panel every attribute behind it: the nearest value on either side beyond which a duty lapses, a margin turns
/// negative or a budget is passed, what is lost there, what proves it again, and the mass up to there. Each figure
/// is moved by itself. That no rule asks is no permission. Typed-in stiffness and strength, prices, positions and
/// what is yes or no are not moved.
#[derive(Debug, Args)]
pub struct LeewayArgs {
    /// A recipe, a finish or a panel: id, `kind/ID` or the file; a material, a process or a tool as `kind/ID`;
    /// one place alone as `kind/ID#ROUTE`
    #[arg(value_name = "RECIPE|FINISH|PANEL")]
    pub of: Option<String>,
    /// Show what must stay for this evidence to go on counting, attribute by attribute
    #[arg(long, value_name = "EVIDENCE", conflicts_with = "of")]
    pub keep: Option<String>,
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Show long lists whole
    #[arg(long)]
    pub all: bool,
}

/// List the duties that are not met, and what closes each
///
/// --next ranks the tests of the joint plan instead, by what finishing one unlocks a week, with its prerequisites
/// counted in. A panel or a milestone counts by the share of its open duties that the test closes, one that nothing
/// else holds back as 1; ties go by cost (common practice, no source). Below stand the records of evidence that
/// most rests on and that no other stands in for.
#[derive(Debug, Args)]
pub struct GapsArgs {
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Decisions laid over it
    #[command(flatten)]
    pub with: With,
    /// List met duties too, and long lists whole
    #[arg(long)]
    pub all: bool,
    /// Only what this milestone and those before it need
    #[arg(long, value_name = "NAME")]
    pub milestone: Option<String>,
    /// Rank the tests by what they unlock, and show the evidence that most rests on
    #[arg(long)]
    pub next: bool,
    /// Exit with 1 where a duty is not met
    #[arg(long)]
    pub strict: bool,
}

/// Show the chain behind a record, a figure or a verdict
///
/// `why showing/ID SUBJECT` (or `why ID SUBJECT`) shows the verdict of one duty, panel by panel, with
/// its reasons down to the line of a file. `why ADDRESS` shows a record: what it uses, what uses it, and
/// the duties that it takes part in. `why 'CS 23.2260'` goes from a clause to the showings that answer it,
/// their duties and panels; the other way, every duty ends with its clauses. Subjects are written as the reports write them, for example
/// `lamina/cw-200-e1@oven-120`.
#[derive(Debug, Args)]
pub struct WhyArgs {
    /// A record (`panel/bow-hatch`, a file), a place in it (`recipe/x#layers.3`), or a showing
    #[arg(value_name = "ADDRESS|SHOWING", required_unless_present = "table")]
    pub of: Option<String>,
    /// The subject of the duty
    #[arg(value_name = "SUBJECT")]
    pub subject: Option<String>,
    /// The row of the built-in table for a kind of showing, with its sources; no ledger is needed
    #[arg(long, value_name = "KIND", conflicts_with_all = ["of", "uses", "used_by"])]
    pub table: Option<String>,
    /// Only what it uses, all the way down
    #[arg(long, conflicts_with_all = ["used_by", "subject"])]
    pub uses: bool,
    /// Only what uses it, all the way up
    #[arg(long, conflicts_with = "subject")]
    pub used_by: bool,
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Decisions laid over it
    #[command(flatten)]
    pub with: With,
}

/// Show mass and verdicts through the commits, and how far off predictions were
///
/// Alone: the programme's mass, the counts of verdicts and the readiness for the next milestone after each commit along
/// first parents, with the decisions that each carries out, and below them how decisions came out against their
/// predictions. Every state is judged as of today. With `group/NAME`: the same of the panels of a group, for the commits
/// that moved it. With a record, followed through its names: the commits that changed it, or that moved its mass or its
/// verdicts, and what they changed. With a decision: how it came out. `--lapsed` and `--grew` find by halving where
/// evidence or a panel's mass turned; what was taken back between two commits that are the same in that is not seen.
#[derive(Debug, Args)]
pub struct HistoryArgs {
    /// A record: `kind/id`, a file, or an id; or a group of panels: `group/NAME`
    #[arg(value_name = "ADDRESS")]
    pub of: Option<String>,
    /// Begin at this revision instead of HEAD
    #[arg(long, value_name = "REV")]
    pub at: Option<String>,
    #[command(flatten)]
    pub as_of: AsOf,
    /// Find the commits since which evidence no longer proves what it proved
    #[arg(long, value_name = "EVIDENCE", conflicts_with_all = ["of", "grew"])]
    pub lapsed: Option<String>,
    /// Find the commits that made a panel heavier
    #[arg(long, value_name = "PANEL", conflicts_with = "of")]
    pub grew: Option<String>,
    /// Show so many commits, the newest
    #[arg(long, value_name = "N", default_value_t = 20)]
    pub commits: usize,
    /// Show all commits
    #[arg(long)]
    pub all: bool,
}

/// Write the pages that people look at: the programme today, changes, records
///
/// A folder of static pages that needs no server and no network: open its index.html. Every proposed or approved
/// decision has a sheet that can be printed for a design review; `--change` draws others. A folder that holds
/// anything but an earlier report is refused.
#[derive(Debug, Args)]
pub struct ReportArgs {
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// What is laid over it
    #[command(flatten)]
    pub with: With,
    /// Write to this folder
    #[arg(long, value_name = "DIR", default_value = "bondline-report")]
    pub out: PathBuf,
    /// Draw this change too: BASE..HEAD, or a decision; may be repeated
    #[arg(long, value_name = "CHANGE")]
    pub change: Vec<String>,
    /// Show so many commits in the history of mass
    #[arg(long, value_name = "N", default_value_t = 40)]
    pub commits: usize,
}

/// Show the same pages in a browser, drawn anew when a file changes
///
/// Serves the pages of `report` on 127.0.0.1 alone until Ctrl-C, read only. A page that is open shows itself anew
/// when a file of the ledger changes.
#[derive(Debug, Args)]
pub struct ViewArgs {
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// What is laid over it
    #[command(flatten)]
    pub with: With,
    /// Draw this change too: BASE..HEAD, or a decision; may be repeated
    #[arg(long, value_name = "CHANGE")]
    pub change: Vec<String>,
    /// Show so many commits in the history of mass
    #[arg(long, value_name = "N", default_value_t = 40)]
    pub commits: usize,
    /// Listen on this port; any free one where it is 0
    #[arg(long, value_name = "PORT", default_value_t = 0)]
    pub port: u16,
    /// Leave the browser alone
    #[arg(long)]
    pub no_browser: bool,
}

/// Search what a study allows: grams saved against the weeks and the cost of proving again
///
/// `studies/ID.yaml` says what may vary, what must hold and what is sought. The rows printed are those that no
/// other candidate is better than in mass, weeks and cost: free ones first, then by grams saved a week. The
/// answer is exact where the text says so; else each row says how much lighter a better one might be. Ctrl-C
/// ends the search: what was found so far is printed, says that it is not whole, and the exit status is 0; a
/// second Ctrl-C kills.
#[derive(Debug, Args)]
pub struct StudyArgs {
    /// A study: id, `study/ID` or the file
    #[arg(value_name = "STUDY")]
    pub study: String,
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Decides between equals in what is tried, where there is more than can be judged
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Threads; as many as there are cores as a rule. The answer does not depend on it
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub jobs: Option<u16>,
    /// End the search after so many seconds; what was found so far is printed
    #[arg(long, value_name = "S", value_parser = seconds)]
    pub seconds: Option<f64>,
    /// Write this row as a draft of a decision
    #[arg(long, value_name = "ROW", conflicts_with_all = ["at", "staged"])]
    pub draft: Option<usize>,
    /// Show long lists whole
    #[arg(long)]
    pub all: bool,
}

/// Reads a span of time in seconds.
fn seconds(text: &str) -> Result<f64, String> {
    let number = text.trim().parse::<f64>().ok().filter(|own| own.is_finite() && *own >= 0.0);
    number.ok_or_else(|| "write seconds, for example `30`".to_string())
}

/// List figures that stand on no evidence, and what stands on them
#[derive(Debug, Args)]
pub struct AssumptionsArgs {
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Decisions laid over it
    #[command(flatten)]
    pub with: With,
    /// Show long lists whole
    #[arg(long)]
    pub all: bool,
}

/// Write what an article was, by value, into its evidence
///
/// Takes the configuration of the evidence's subject from the work tree, or from a revision with --at,
/// and writes it with the digest of the data into the record; every other byte stays as it was. Finished
/// evidence that is conformed already is refused: a correction is a new record.
#[derive(Debug, Args)]
pub struct ConformArgs {
    /// Evidence: ids, `evidence/ID` or files
    #[arg(value_name = "EVIDENCE", required = true)]
    pub evidence: Vec<String>,
    /// Take the configuration from this revision
    #[arg(long, value_name = "REV")]
    pub at: Option<String>,
    /// Add what an older form lacks, from the commit that the record names; nothing else is touched
    #[arg(long, conflicts_with = "at")]
    pub complete: bool,
    /// Show what would be written and write nothing
    #[arg(long)]
    pub dry_run: bool,
}

/// Reads a level of significance: a bare number or a percentage, as the records have it.
fn level(text: &str) -> Result<f64, String> {
    let figure = Figure::parse(text)?;
    let share = if figure.unit() == "%" { Some(figure.number() / 100.0) } else { figure.number_in("") };
    share.ok_or_else(|| "write a level such as `0.05` or `5 %`".to_string())
}

/// Compute design values from specimens, with every step and the decision at each
///
/// `basis FILE` reads a CSV file with the columns batch, panel, specimen, value [unit]; no ledger is needed.
/// `basis EVIDENCE` takes the specimens of evidence records as its showing takes them: those of one showing are
/// one sample. Several files, or evidence of several showings, are environments of one property, which are
/// computed apart and then under one spread.
///
/// The procedure is that of MIL-HDBK-17-1F chapter 8. Levels come from `statistics` in the showing or in
/// ledger.yaml, or from here.
#[derive(Debug, Args)]
pub struct BasisArgs {
    /// CSV files, or evidence: ids, `evidence/ID` or files
    #[arg(value_name = "FILE|EVIDENCE", required = true)]
    pub of: Vec<String>,
    /// Level of the tests for outliers; 0.05 as a rule
    #[arg(long, value_name = "LEVEL", value_parser = level)]
    pub outliers: Option<f64>,
    /// Level of the k-sample test of batches: 0.1, 0.05, 0.025 or 0.01; 0.025 as a rule
    #[arg(long, value_name = "LEVEL", value_parser = level)]
    pub batches: Option<f64>,
    /// Level of the test of equal variances; 0.05 as a rule
    #[arg(long, value_name = "LEVEL", value_parser = level)]
    pub variances: Option<f64>,
    /// Level of the tests of fit; 0.05 as a rule
    #[arg(long, value_name = "LEVEL", value_parser = level)]
    pub fit: Option<f64>,
    /// Use the modified coefficient of variation
    #[arg(long)]
    pub modified_cv: bool,
    /// Values at a temperature between those that the evidence was tested in, for example `60 degC`
    #[arg(long, value_name = "TEMPERATURE", allow_hyphen_values = true)]
    pub between: Option<String>,
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Show long lists whole
    #[arg(long)]
    pub all: bool,
}

/// Check one formula alone: inputs typed in YAML with units, answered with steps and source
///
/// `calc` alone lists the topics. `calc TOPIC` on a terminal says what the topic takes and shows a sample;
/// with a file, with `-`, or with input from a pipe it works the topic out. No ledger is needed.
#[derive(Debug, Args)]
pub struct CalcArgs {
    /// What to work out
    #[arg(value_name = "TOPIC")]
    pub topic: Option<String>,
    /// The input in YAML; `-` is standard input
    #[arg(value_name = "FILE")]
    pub file: Option<PathBuf>,
    /// Print a sample input and work nothing out
    #[arg(long, requires = "topic", conflicts_with = "file")]
    pub sample: bool,
}

/// Install, remove or run the gate on commits
#[derive(Debug, Args)]
pub struct HookArgs {
    /// What to do
    #[command(subcommand)]
    pub what: HookCommand,
}

/// What to do with the gate.
#[derive(Debug, Subcommand)]
pub enum HookCommand {
    /// Install the gate as git's hooks; hooks that are there already are kept and run first
    Install,
    /// Remove the gate and restore the hook that was there before
    Remove,
    /// Judge what is staged against what is committed
    Run(HookRunArgs),
    /// Name the decisions that what is staged carries out whole, one a line
    Decisions,
}

/// Judge what is staged against what is committed
#[derive(Debug, Args)]
pub struct HookRunArgs {
    /// Judge the commits A..B instead of the index, for servers and CI
    #[arg(long, value_name = "A..B")]
    pub range: Option<String>,
}

/// Say what was kept of earlier answers, take it away, or work it out anew and compare
///
/// What was worked out once is kept in `bondline/` of the git directory, so that the same question is answered at
/// once. Nothing there is the only copy of anything, and no answer depends on it; `--no-store` goes without it.
#[derive(Debug, Args)]
pub struct StoreArgs {
    /// What to do
    #[command(subcommand)]
    pub what: StoreCommand,
}

/// What to do with the store.
#[derive(Debug, Clone, Copy, Subcommand)]
pub enum StoreCommand {
    /// Say where it is, how large it is, and what is in it
    Status,
    /// Take it away; it comes back by itself
    Clear,
    /// Work out anew what is kept, as far as the files are still there, and compare; exits with 1 where it differs
    Verify,
}

/// The forms of an export.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ExportForm {
    /// A folder with one CSV file a table
    Csv,
    /// A workbook with one sheet a table
    Xlsx,
    /// One JSON document
    Json,
    /// A SQLite database
    Sqlite,
    /// A script that loads the tables into a database of another server
    Sql,
}

/// The servers that a script is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SqlDialect {
    /// PostgreSQL, by its program psql
    Postgres,
}

/// Write mass, margins, duties, evidence and the rest as tables for other tools
///
/// Tables, columns and units are described in `schema/export.md`. What stands there already is overwritten only
/// where it is an export of this tool. An export shows one state of the ledger and is no place to edit it.
#[derive(Debug, Args)]
pub struct ExportArgs {
    /// The form
    #[arg(value_enum, value_name = "FORM")]
    pub form: ExportForm,
    /// Where: a folder for CSV, else a file; `-` is standard output, for JSON and SQL alone. Where absent
    /// `bondline-export` with the form's ending in this folder, for JSON and SQL standard output
    #[arg(long, value_name = "PATH")]
    pub out: Option<PathBuf>,
    /// For SQL: which server reads it; `postgres` where absent
    #[arg(long, value_enum)]
    pub dialect: Option<SqlDialect>,
    /// For SQL: the schema that the tables are put into, so that many programmes lie in one database; where absent the
    /// programme's name in small letters, with `_` between its words
    #[arg(long, value_name = "NAME")]
    pub schema: Option<String>,
    /// Which state is read
    #[command(flatten)]
    pub source: Source,
    /// Decisions laid over it
    #[command(flatten)]
    pub with: With,
    /// Overwrite what is no export of this tool too
    #[arg(long)]
    pub force: bool,
}

/// Make records of a spreadsheet's rows
#[derive(Debug, Args)]
pub struct ImportArgs {
    /// From what
    #[command(subcommand)]
    pub form: ImportForm,
}

/// Forms that are imported.
#[derive(Debug, Subcommand)]
pub enum ImportForm {
    /// From CSV: materials, panels, or specimens
    Csv(ImportCsvArgs),
}

/// What the rows of a file become.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum ImportWhat {
    /// A material a row
    Materials,
    /// A panel a row; further rows with its id are further zones
    Panels,
    /// A specimen a row; the file becomes the data of one evidence record
    Specimens,
}

impl ImportWhat {
    /// Returns the word that is typed.
    pub fn word(self) -> &'static str {
        ImportKind::from(self).word()
    }
}

impl From<ImportWhat> for ImportKind {
    fn from(what: ImportWhat) -> Self {
        match what {
            ImportWhat::Materials => ImportKind::Materials,
            ImportWhat::Panels => ImportKind::Panels,
            ImportWhat::Specimens => ImportKind::Specimens,
        }
    }
}

/// Make records of the rows of a CSV file
///
/// Columns are guessed by their names and units and shown with what they become; nothing is written without
/// --write, and a record that is there already is never touched. A row that can't become a record is named with
/// its line, its column and the mend, and the others are written. Exits with 1 where a row is refused. Specimens
/// become one evidence record, running: `--set id=e-100 --set showing=ID --set 'subject={lamina: [ID, ID]}'`.
#[derive(Debug, Args)]
pub struct ImportCsvArgs {
    /// What the rows become
    #[arg(value_enum, value_name = "KIND")]
    pub kind: ImportWhat,
    /// The file; comma, semicolon or tab between columns, names in its first line
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Take this mapping instead of the guess
    #[arg(long, value_name = "FILE")]
    pub map: Option<PathBuf>,
    /// Keep the mapping in a new file, to be edited and given back with --map
    #[arg(long, value_name = "FILE")]
    pub save_map: Option<PathBuf>,
    /// Give every record this value too; may be repeated
    #[arg(long, value_name = "KEY=VALUE")]
    pub set: Vec<String>,
    /// Write the records
    #[arg(long)]
    pub write: bool,
}

/// Print what completes commands, options and record ids in a shell
///
/// For bash: `bondline completions bash > ~/.local/share/bash-completion/completions/bondline`. For zsh, in a folder
/// of `fpath`: `bondline completions zsh > _bondline`, or source it behind `compinit`. For fish: `bondline completions
/// fish > ~/.config/fish/completions/bondline.fish`. bash, zsh and fish complete ids of records too.
#[derive(Debug, Args)]
pub struct CompletionsArgs {
    /// The shell
    #[arg(value_enum, value_name = "SHELL")]
    pub shell: clap_complete::Shell,
}

/// Print the manual page, or write one for each command
#[derive(Debug, Args)]
pub struct ManArgs {
    /// Write `bondline.1` and a page for each command into this folder, such as `~/.local/share/man/man1`
    #[arg(value_name = "DIR")]
    pub folder: Option<PathBuf>,
}

/// Name the records that begin so
#[derive(Debug, Args)]
pub struct CompleteArgs {
    /// Kinds of records with commas, or `any` for all as `kind/id`
    #[arg(value_name = "KIND")]
    pub kinds: String,
    /// What they begin with
    #[arg(value_name = "PREFIX", default_value = "")]
    pub prefix: String,
}
