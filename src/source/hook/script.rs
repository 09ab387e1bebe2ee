//! The text of the hook: a POSIX shell script that says of itself which program and ledgers it is for.

use std::os::unix::ffi::OsStrExt;
use std::path::{Path, PathBuf};

use sha2::{Digest, Sha256};

use super::super::hex;

/// The first line and the beginning of the second, which mark the file as ours. The digest behind it
/// is of all that follows, so that lines someone adds are not lost when the hook is rewritten.
const HEAD: &str = "#!/bin/sh\n# bondline-hook 1 sha256:";
const PROGRAM: &str = "# program ";
const LEDGER: &str = "# ledger ";

/// What a hook of ours does.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Task {
    /// Judges what is staged.
    Gate,
    /// Names the decisions that are carried out in the commit's message.
    Message,
}

/// What a script is made from.
pub(super) struct Script<'a> {
    pub(super) task: Task,
    pub(super) program: &'a Path,
    /// Folders in the repository; `""` is its top.
    pub(super) ledgers: &'a [String],
}

/// A script of ours, read back.
pub(super) struct Written {
    pub(super) text: Vec<u8>,
    pub(super) program: PathBuf,
    pub(super) ledgers: Vec<String>,
}

/// What a file is.
pub(super) enum Read {
    Ours(Written),
    Edited,
    Other,
}

impl Script<'_> {
    pub(super) fn text(&self) -> Vec<u8> {
        let mut body: Vec<u8> = Vec::new();
        body.extend(b"# Written by `bondline hook install`. `bondline hook remove` takes it out and puts back what was here.\n");
        body.extend(PROGRAM.as_bytes());
        body.extend(hex(self.program.as_os_str().as_bytes()).bytes());
        body.push(b'\n');
        for ledger in self.ledgers {
            body.extend(format!("{LEDGER}{}\n", hex(ledger.as_bytes())).bytes());
        }
        body.extend(b"program=");
        body.extend(quoted(self.program.as_os_str().as_bytes()));
        body.push(b'\n');
        if self.task == Task::Message {
            body.extend(MESSAGE.as_bytes());
            for ledger in self.ledgers {
                body.extend(b"name_decisions ");
                body.extend(quoted(folder_of(ledger).as_bytes()));
                body.push(b' ');
                body.extend(quoted(file_of(ledger).as_bytes()));
                body.push(b'\n');
            }
            body.extend(b"exit 0\n");
            return with_head(&body);
        }
        body.extend(b"\nlooked_after() {\n    case $1 in\n");
        for ledger in self.ledgers {
            body.extend(quoted(file_of(ledger).as_bytes()));
            body.extend(b") return 0 ;;\n");
        }
        body.extend(b"    esac\n    return 1\n}\n");
        body.extend(MAIN.as_bytes());
        for ledger in self.ledgers {
            let file = file_of(ledger);
            body.extend(b"gate ");
            body.extend(quoted(folder_of(ledger).as_bytes()));
            body.push(b' ');
            body.extend(quoted(file.as_bytes()));
            body.push(b'\n');
        }
        body.extend(b"exit \"$worst\"\n");
        with_head(&body)
    }
}

/// The folder of a ledger as an argument: `./` keeps one whose name begins with a dash from being taken for an
/// option.
fn folder_of(ledger: &str) -> String {
    if ledger.is_empty() { ".".to_owned() } else { format!("./{ledger}") }
}

/// The ledger's own file, from the top of the work tree.
fn file_of(ledger: &str) -> String {
    if ledger.is_empty() { "ledger.yaml".to_owned() } else { format!("{ledger}/ledger.yaml") }
}

fn with_head(body: &[u8]) -> Vec<u8> {
    let mut text = HEAD.as_bytes().to_vec();
    text.extend(hex(&Sha256::digest(body)).bytes());
    text.push(b'\n');
    text.extend(body);
    text
}

/// Reads a script back. The lines that say program and ledgers hold them in hexadecimal, for a path
/// may hold a line's end.
pub(super) fn read(text: Vec<u8>) -> Read {
    let Some(rest) = text.strip_prefix(HEAD.as_bytes()) else { return Read::Other };
    let Some((digest, body)) = rest.iter().position(|byte| *byte == b'\n').and_then(|at| {
        let (digest, body) = rest.split_at_checked(at)?;
        Some((digest, body.strip_prefix(b"\n")?))
    }) else {
        return Read::Edited;
    };
    if digest != hex(&Sha256::digest(body)).as_bytes() {
        return Read::Edited;
    }
    let said = |word: &str| -> Vec<Vec<u8>> {
        body.split(|byte| *byte == b'\n')
            .skip(1)
            .take_while(|line| line.starts_with(b"# "))
            .filter_map(|line| unhex(line.strip_prefix(word.as_bytes())?))
            .collect()
    };
    let program = said(PROGRAM).into_iter().next().map(super::path_of).unwrap_or_default();
    let ledgers = said(LEDGER).into_iter().filter_map(|bytes| String::from_utf8(bytes).ok()).collect();
    Read::Ours(Written { program, ledgers, text })
}

/// What the script does, between the lines that are the repository's own.
///
/// A branch without the ledger is not held up: the ledger counts as absent only if neither the index
/// nor HEAD nor the disk has it, so that taking it away does not go past the gate. One that moves is judged
/// where it goes, which must be looked after already, or what comes next would go past.
const MAIN: &str = r#"
case $0 in
*/*) before=$0.before-bondline ;;
*) before=./$0.before-bondline ;;
esac
if [ -f "$before" ] && [ -x "$before" ]; then
    "$before" "$@" || exit $?
fi

way_on() {
    echo "To commit without the check: git commit --no-verify" >&2
    echo "The same check run over the branch (bondline hook run --range A..B) will find what it finds here." >&2
}

find_program() {
    if [ -f "$program" ] && [ -x "$program" ]; then
        return 0
    fi
    if command -v bondline >/dev/null 2>&1; then
        program=bondline
        return 0
    fi
    echo "bondline could not check this commit: it is neither where it was installed from nor on PATH." >&2
    printf '%s\n' "  installed from: $program" >&2
    echo "Install it and run: bondline hook install" >&2
    way_on
    exit 2
}

worst=0
gone() {
    new=$(git -c core.quotePath=false diff --cached --no-renames --diff-filter=A --name-only HEAD -- ':(top,glob)**/ledger.yaml')
    if [ -z "$new" ]; then
        printf '%s\n' "This commit takes the ledger in $1 away." >&2
        echo "Put it back; or, if it is to go, leave the check out." >&2
        way_on
        worst=2
        return 0
    fi
    while IFS= read -r file; do
        if ! looked_after "$file"; then
            printf '%s\n' "This commit moves the ledger in $1, and nothing looks after $file yet." >&2
            echo "In the folder of that file run: bondline hook install" >&2
            echo "Then commit again: it is judged there against what it was here." >&2
            way_on
            worst=2
        fi
    done <<END
$new
END
    return 0
}

gate() {
    if [ ! -e "./$2" ] &&
        ! git cat-file -e ":0:$2" 2>/dev/null &&
        ! git cat-file -e "HEAD:$2" 2>/dev/null; then
        return 0
    fi
    if ! git cat-file -e ":0:$2" 2>/dev/null && git cat-file -e "HEAD:$2" 2>/dev/null; then
        gone "$1"
        return 0
    fi
    find_program
    "$program" -C "$1" hook run
    status=$?
    if [ "$status" -gt 1 ]; then
        printf '%s\n' "bondline could not check this commit (status $status, ledger in $1)." >&2
        way_on
    fi
    if [ "$status" -gt "$worst" ]; then
        worst=$status
    fi
    return 0
}

"#;

/// What the hook for messages does, before the lines that are the repository's own.
///
/// It only adds: whatever goes wrong, the message stays as it was and the commit goes on. A merge carries out
/// nothing itself.
const MESSAGE: &str = r#"
case $0 in
*/*) before=$0.before-bondline ;;
*) before=./$0.before-bondline ;;
esac
if [ -f "$before" ] && [ -x "$before" ]; then
    "$before" "$@" || exit $?
fi
message=$1
case ${2-} in
merge | squash) exit 0 ;;
esac
if ! { [ -f "$program" ] && [ -x "$program" ]; }; then
    command -v bondline >/dev/null 2>&1 || exit 0
    program=bondline
fi

name_decisions() {
    git cat-file -e ":0:$2" 2>/dev/null || return 0
    found=$("$program" -C "$1" hook decisions 2>/dev/null) || return 0
    for decision in $found; do
        git interpret-trailers --in-place --if-exists addIfDifferent \
            --trailer "Decision: $decision" "$message" || return 0
    done
}

"#;

/// Quotes bytes for a POSIX shell: inside single quotes all but the quote itself stands for itself.
fn quoted(bytes: &[u8]) -> Vec<u8> {
    let mut text = vec![b'\''];
    for byte in bytes {
        if *byte == b'\'' { text.extend(br"'\''") } else { text.push(*byte) }
    }
    text.push(b'\'');
    text
}

fn unhex(text: &[u8]) -> Option<Vec<u8>> {
    let text = std::str::from_utf8(text).ok()?;
    (0..text.len()).step_by(2).map(|at| u8::from_str_radix(text.get(at..at + 2)?, 16).ok()).collect()
}
