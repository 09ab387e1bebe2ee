//! `bondline completions` and the hidden `bondline complete`, which the scripts ask for record ids.

use super::args::{Cli, CompleteArgs, CompletionsArgs};
use super::context::{Context, Failure, Status};
use crate::record::RecordKind;
use clap::CommandFactory;
use clap_complete::Shell;
use std::collections::BTreeSet;
use std::fs;
use std::io::Write;

/// Commands and options whose value names a record, with the kinds that it may be of; `any` is `kind/id`.
pub(super) const NAMES: &[(&str, &str)] = &[
    ("mass", "panel,assembly"),
    ("laminate", "recipe"),
    ("panel", "panel"),
    ("impact", "decision"),
    ("decide", "decision"),
    ("compare", "decision"),
    ("leeway", "recipe,finish,panel"),
    ("why", "any"),
    ("history", "any"),
    ("study", "study"),
    ("conform", "evidence"),
    ("basis", "evidence"),
    ("--with", "decision"),
    ("--keep", "evidence"),
    ("--lapsed", "evidence"),
    ("--grew", "panel"),
    ("--change", "decision"),
    ("--supersedes", "decision"),
];

/// Prints what begins so, one a line. Only names of files are read: a shell waits for the answer, and a record that
/// is being written is named too. Without a ledger there is nothing to name, and no reason to disturb a prompt.
pub(super) fn complete(
    context: &Context,
    args: &CompleteArgs,
    out: &mut dyn Write,
) -> Result<Status, Failure> {
    let Ok(place) = context.place() else { return Ok(Status::Done) };
    let any = args.kinds.split(',').any(|word| word == "any");
    let mut found: BTreeSet<String> = BTreeSet::new();
    for kind in RecordKind::ALL.iter().copied().filter(|kind| *kind != RecordKind::Ledger) {
        if !any && !args.kinds.split(',').any(|word| word == kind.word()) {
            continue;
        }
        let Ok(entries) = fs::read_dir(place.root().join(kind.folder())) else { continue };
        for entry in entries.flatten() {
            let name = entry.file_name();
            let Some(id) = name.to_str().and_then(|name| name.strip_suffix(".yaml")) else { continue };
            let word = if any { format!("{kind}/{id}") } else { id.to_string() };
            if crate::record::is_id(id) && word.starts_with(&args.prefix) {
                found.insert(word);
            }
        }
    }
    for word in found {
        writeln!(out, "{word}")?;
    }
    Ok(Status::Done)
}

/// Prints the script of a shell: what clap knows of commands and options, and a few lines that ask for ids.
pub(super) fn script(args: &CompletionsArgs, out: &mut dyn Write) -> Result<Status, Failure> {
    let mut command = Cli::command();
    let mut text = Vec::new();
    clap_complete::generate(args.shell, &mut command, "bondline", &mut text);
    out.write_all(&text)?;
    let more = match args.shell {
        Shell::Bash => bash(),
        Shell::Zsh => zsh(),
        Shell::Fish => fish(),
        // What these two complete of ids would have to be tried where they run.
        _ => return Ok(Status::Done),
    };
    writeln!(out, "\n{more}")?;
    Ok(Status::Done)
}

/// Lines of a `case` that turn a word into kinds.
fn cases(options: bool) -> String {
    let own = NAMES.iter().filter(|(word, _)| word.starts_with("--") == options);
    own.map(|(word, kinds)| format!("        {word}) kinds={kinds} ;;\n")).collect()
}

fn bash() -> String {
    format!(
        r#"# Ids of records, asked of the ledger that the words stand in.
_bondline_with_ids() {{
    _bondline "$@"
    local cur="${{COMP_WORDS[COMP_CWORD]}}" prev="${{COMP_WORDS[COMP_CWORD-1]}}" kinds="" dir=() word at
    [[ $cur == -* ]] && return
    for ((at = 1; at < COMP_CWORD; at++)); do
        word="${{COMP_WORDS[at]}}"
        [[ $word == -C ]] && dir=(-C "${{COMP_WORDS[at+1]}}")
        [[ -n $kinds ]] && continue
        case "$word" in
{}        esac
    done
    case "$prev" in
{}        -*) [[ $prev == --all || $prev == --strict || $prev == --staged ]] || return ;;
    esac
    [[ -n $kinds ]] || return
    COMPREPLY+=($(bondline "${{dir[@]}}" complete "$kinds" -- "$cur" 2>/dev/null))
}}
complete -F _bondline_with_ids -o bashdefault -o default bondline"#,
        cases(false),
        cases(true)
    )
}

fn zsh() -> String {
    format!(
        r#"# Ids of records, asked of the ledger that the words stand in.
_bondline_with_ids() {{
    local cur="${{words[CURRENT]}}" prev="${{words[CURRENT-1]}}" kinds="" word at
    local -a dir found
    for ((at = 2; at < CURRENT; at++)); do
        word="${{words[at]}}"
        [[ $word == -C ]] && dir=(-C "${{words[at+1]}}")
        [[ -n $kinds ]] && continue
        case "$word" in
{}        esac
    done
    case "$prev" in
{}    esac
    if [[ -n $kinds && $cur != -* ]]; then
        found=(${{(f)"$(bondline $dir complete $kinds -- "$cur" 2>/dev/null)"}})
        (( $#found )) && compadd -- $found
    fi
    _bondline "$@"
}}
compdef _bondline_with_ids bondline"#,
        cases(false),
        cases(true)
    )
}

fn fish() -> String {
    let mut lines = String::from(
        r#"# Ids of records, asked of the ledger that the words stand in.
function __bondline_ids
    set -l words (commandline -opc)
    set -l dir
    for at in (seq (count $words))
        test "$words[$at]" = -C; and set dir -C $words[(math $at + 1)]
    end
    bondline $dir complete $argv[1] -- (commandline -ct) 2>/dev/null
end
"#,
    );
    for (word, kinds) in NAMES {
        let ask = format!("(__bondline_ids {kinds})");
        match word.strip_prefix("--") {
            Some(option) => lines.push_str(&format!("complete -c bondline -l {option} -x -a '{ask}'\n")),
            None => lines.push_str(&format!(
                "complete -c bondline -n '__fish_seen_subcommand_from {word}' -a '{ask}'\n"
            )),
        }
    }
    lines
}
