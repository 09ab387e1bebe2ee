//! Reads one record: straight into its type where all is well, slowly and with every fault where not.

use super::form::Form;
use super::tree::{Lines, MAX_ALIASES, MAX_DEPTH, MAX_NODES, Problem, Tree};
use super::wording::{a, split_help};
use super::*;
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Larger files are no records and are not parsed.
pub const MAX_BYTES: usize = 1 << 20;
/// With more brackets a text is looked at first, even where they seem to be shallow.
const MANY_BRACKETS: usize = 1000;

/// A type that is read from a file of its own.
pub trait RecordType: DeserializeOwned + Serialize + PartialEq {
    /// The kind that it is.
    const KIND: RecordKind;

    /// Returns whether keys that depend on each other agree; the reader then says which do not.
    fn complies(&self) -> bool {
        true
    }
}

macro_rules! record_types {
    ($($name:ident),*) => {$(
        impl RecordType for $name {
            const KIND: RecordKind = RecordKind::$name;
        }
    )*};
}

record_types!(
    Process, Tool, Finish, Recipe, Panel, Assembly, Showing, Evidence, Decision, Concession, Weighing, Study
);

impl RecordType for LedgerHead {
    const KIND: RecordKind = RecordKind::Ledger;
}

impl RecordType for Material {
    const KIND: RecordKind = RecordKind::Material;

    fn complies(&self) -> bool {
        material_fields::complies(self)
    }
}

/// What came of reading one record.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadOutcome<T> {
    /// The record; `None` where a fault is an error.
    pub value: Option<T>,
    /// Everything wrong, in the order of the text.
    pub faults: Vec<Fault>,
    /// Records that a text with faults names: whoever knows which there are can still say which are not.
    pub named: Vec<Named>,
}

/// Reads the bytes of `file` as a record of type `T`.
///
/// On success this costs what serde costs. Only on failure the text is read again into a tree with
/// places and walked against the type's schema, so that all faults are found in one go.
pub fn read<T: RecordType>(file: &str, bytes: &[u8]) -> ReadOutcome<T> {
    read_as(file, bytes, T::KIND, shape::of(T::KIND), T::complies)
}

/// Reads the bytes of `file` as something that is no record but is written and refused like one.
///
/// `form` comes from [`Form::of`] for the same type.
pub fn read_form<T: DeserializeOwned>(file: &str, bytes: &[u8], form: &Form) -> ReadOutcome<T> {
    read_as(file, bytes, None, form.shape(), |_| true)
}

fn read_as<T: DeserializeOwned>(
    file: &str,
    bytes: &[u8],
    kind: impl Into<Option<RecordKind>>,
    shape: &shape::Shape,
    complies: fn(&T) -> bool,
) -> ReadOutcome<T> {
    let mut faults = Vec::new();
    let mut named = Vec::new();
    let value = match text_of(file, bytes, &mut faults) {
        Some(text) => read_text(file, text, (kind.into(), shape), complies, &mut faults, &mut named),
        None => None,
    };
    if !faults.is_empty() {
        faults
            .sort_by_key(|fault: &Fault| (fault.place.line.is_none(), fault.place.line, fault.place.column));
    }
    ReadOutcome { value, faults, named }
}

/// What a text is read as: the kind of record, where it is one, and what may stand where.
type Expected<'s> = (Option<RecordKind>, &'s shape::Shape);

fn read_text<T: DeserializeOwned>(
    file: &str,
    text: &str,
    expected: Expected<'_>,
    complies: fn(&T) -> bool,
    faults: &mut Vec<Fault>,
    named: &mut Vec<Named>,
) -> Option<T> {
    if let Some(fault) = conflict(file, text) {
        faults.push(fault);
        return None;
    }
    // Whatever could be dangerous to a parser that recurses or follows aliases is looked at first.
    let mut tree = None;
    if is_suspicious(text) {
        match Tree::parse(text) {
            Ok(parsed) => tree = Some(parsed),
            Err(problem) => {
                faults.push(problem_fault(file, text, problem));
                return None;
            }
        }
    }
    let read = serde_yaml::from_str::<T>(text);
    if let Ok(value) = read {
        if complies(&value) {
            return Some(value);
        }
        let (found, names) = slow_faults(file, text, tree, expected);
        if found.is_empty() {
            return Some(value);
        }
        faults.extend(found);
        named.extend(names);
        return None;
    }
    let (found, names) = slow_faults(file, text, tree, expected);
    named.extend(names);
    match read {
        Err(error) if found.is_empty() => faults.push(unexplained(file, text, &error)),
        _ => faults.extend(found),
    }
    None
}

/// A merge that git left to be settled by hand.
fn conflict(file: &str, text: &str) -> Option<Fault> {
    let mark = |line: &str| line.starts_with("<<<<<<< ") || line.starts_with(">>>>>>> ");
    let mut start = 0;
    for (at, line) in text.split_inclusive('\n').enumerate() {
        if mark(line) {
            let end = start + line.trim_end().len();
            let place =
                Place { line: Some(at + 1), column: Some(1), span: Some((start, end)), ..Place::file(file) };
            let fault = Fault::error("conflict-marker", place, "a merge is not settled here");
            return Some(fault.labelled("left by git").help(
                "keep what is right of both sides, take the marks `<<<<<<<`, `=======` and `>>>>>>>` out, then `git add` the file",
            ));
        }
        start += line.len();
    }
    None
}

fn slow_faults(
    file: &str,
    text: &str,
    tree: Option<Tree>,
    (kind, shape): Expected<'_>,
) -> (Vec<Fault>, Vec<Named>) {
    let tree = match tree.map_or_else(|| Tree::parse(text), Ok) {
        Ok(tree) => tree,
        Err(problem) => return (vec![problem_fault(file, text, problem)], Vec::new()),
    };
    match tree.root().and_then(|root| tree.node(root)) {
        Some(node) if !node.is_null() => walk::faults(&tree, text, &Lines::of(text), file, kind, shape),
        _ => {
            let place = Place { line: Some(1), column: Some(1), span: Some((0, 0)), ..Place::file(file) };
            let fault = Fault::error("empty-file", place, "nothing is written in this file");
            (vec![fault.labelled("empty").help(needed(kind, shape))], Vec::new())
        }
    }
}

fn needed(kind: Option<RecordKind>, shape: &shape::Shape) -> String {
    let shape::Shape::Part(part) = shape else { return String::new() };
    let what = if kind.is_some() { "a record of this kind".to_string() } else { a(&part.name) };
    let keys: Vec<String> =
        part.fields.iter().filter(|field| field.required).map(|field| format!("`{}`", field.key)).collect();
    format!("{what} needs {}", keys.join(", "))
}

/// Returns the text without byte order mark, or reports why there is none.
fn text_of<'b>(file: &str, bytes: &'b [u8], faults: &mut Vec<Fault>) -> Option<&'b str> {
    if bytes.len() > MAX_BYTES {
        let message =
            format!("{} bytes are too many for a record: at most {MAX_BYTES} are read", bytes.len());
        let fault = Fault::error("too-large", Place::file(file), message);
        faults.push(fault.labelled("too large").help("put test data into a CSV file and name it by `data:`"));
        return None;
    }
    let bytes = match bytes.strip_prefix(b"\xEF\xBB\xBF") {
        Some(rest) => {
            let place = Place { line: Some(1), column: Some(1), span: Some((0, 0)), ..Place::file(file) };
            let fault = Fault::warning("byte-order-mark", place, "the file begins with a byte order mark");
            faults.push(
                fault.labelled("in front of this").help("save the file as UTF-8 without byte order mark"),
            );
            rest
        }
        None => bytes,
    };
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text,
        Err(error) => {
            let at = error.valid_up_to();
            let good = bytes.get(..at).and_then(|good| std::str::from_utf8(good).ok()).unwrap_or_default();
            let byte = bytes.get(at).copied().unwrap_or_default();
            let message = format!("byte {} of the text (0x{byte:02X}) is no UTF-8", at + 1);
            let fault = Fault::error("not-utf8", Lines::of(good).place(file, good, at, at), message);
            faults.push(fault.labelled("not UTF-8").help("save the file as UTF-8"));
            return None;
        }
    };
    if let Some(at) = bytes.iter().position(|byte| *byte == 0) {
        let place = Lines::of(text).place(file, text, at, at + 1);
        let fault = Fault::error("nul-byte", place, "a NUL byte stands in the text");
        faults.push(fault.labelled("NUL").help("save the file as plain UTF-8 text"));
        return None;
    }
    Some(text)
}

/// One pass over the bytes: is there anything that serde should not see before it was looked at?
///
/// Suspicious are deep brackets, deep indentation, tabs, anchors and aliases, and sheer size. A false
/// suspicion costs time only; a bracket hidden in quotes is left to serde's own limit.
fn is_suspicious(text: &str) -> bool {
    let bytes = text.as_bytes();
    let near = MAX_DEPTH.saturating_sub(4);
    if bytes.len() > MAX_NODES {
        return true;
    }
    let (mut depth, mut brackets, mut lead, mut leading) = (0usize, 0usize, 0usize, true);
    let mut before = b'\n';
    for byte in bytes {
        match byte {
            b'\n' => (lead, leading) = (0, true),
            b' ' | b'-' | b'?' if leading => {
                lead += 1;
                if lead > near {
                    return true;
                }
            }
            b'[' | b'{' => {
                leading = false;
                brackets += 1;
                depth += 1;
                if depth > near || brackets > MANY_BRACKETS {
                    return true;
                }
            }
            b']' | b'}' => {
                leading = false;
                depth = depth.saturating_sub(1);
            }
            b'\t' => return true,
            b'&' | b'*' if matches!(before, b' ' | b'\n' | b'[' | b'{' | b',' | b':') => return true,
            _ => leading = false,
        }
        before = *byte;
    }
    false
}

fn problem_fault(file: &str, text: &str, problem: Problem) -> Fault {
    let lines = Lines::of(text);
    let at = |at: usize| lines.place(file, text, at, (at + 1).min(text.len()));
    match problem {
        Problem::Deep { at: byte } => {
            Fault::error("too-deep", at(byte), format!("values are nested more than {MAX_DEPTH} deep here"))
                .labelled("too deep")
                .help("records need a few levels only: look for a bracket or indentation that was not meant")
        }
        Problem::Aliases { at: byte } => {
            let message =
                format!("more than {MAX_ALIASES} aliases, or aliases for more than {MAX_NODES} values");
            Fault::error("too-many-aliases", at(byte), message)
                .labelled("too many aliases")
                .help("write the values out instead of `&` and `*`")
        }
        Problem::Nodes { at: byte } => {
            Fault::error("too-large", at(byte), format!("more than {MAX_NODES} values in one record"))
                .labelled("too many values")
                .help("put test data into a CSV file and name it by `data:`")
        }
        Problem::Documents { at: byte } => Fault::error(
            "several-documents",
            at(byte),
            "a second document begins here; a file holds one record",
        )
        .labelled("second document")
        .help("take the `---` away, or move what follows into a file of its own"),
        Problem::Syntax { at: byte, info } => syntax_fault(file, text, &lines, byte, &info),
    }
}

fn syntax_fault(file: &str, text: &str, lines: &Lines, at: usize, info: &str) -> Fault {
    let (line, _) = lines.of_byte(text, at);
    // The parser often notices a tab one line late, or at the end of the blanks.
    for near in [line, line.saturating_sub(1)] {
        let (start, end) = lines.line_bytes(text, near);
        let body = text.get(start..end).unwrap_or_default();
        let lead = body.len() - body.trim_start_matches([' ', '\t']).len();
        let tab = body.get(..lead).and_then(|lead| lead.find('\t'));
        if let (Some(tab), true) = (tab, near > 0 && lead < body.len()) {
            let place = lines.place(file, text, start + tab, start + lead);
            return Fault::error("tab-indentation", place, "a tab stands in the indentation")
                .labelled("tab")
                .help("indent with blanks only");
        }
    }
    let (fact, mut help) = syntax_words(info);
    // The first `:` of a line is a key's own: then it is not the text that is wrong, but where it stands.
    let (start, _) = lines.line_bytes(text, line);
    let lead = text.get(start..at).unwrap_or_default();
    if help == COLON && !lead.contains([':', ',', '"', '\'']) {
        help = "align the line with the other keys of its map, or close the bracket or quote that is opened above it"
            .to_string();
    }
    let end = text.get(at..).and_then(|rest| rest.chars().next()).map_or(at, |c| at + c.len_utf8());
    Fault::error("bad-yaml", lines.place(file, text, at, end), fact).labelled("here").help(help)
}

const COLON: &str = "put quotes around a text with `: ` in it";

/// What the parser says, in words for people who write records.
fn syntax_words(info: &str) -> (String, String) {
    const ALIGN: &str = "align the line with the others of its list or map";
    const QUOTE: &str = "put quotes around the text";
    const WORDS: &[(&str, &str, &str)] = &[
        ("escape", "a `\\` in double quotes begins no escape", "use single quotes, or write `\\\\`"),
        ("hexadecimal", "a `\\` in double quotes begins no escape", "use single quotes, or write `\\\\`"),
        ("trailing content", "text stands behind a closed quote", "close the quote at the end of the text"),
        ("quoted scalar", "a quote that is opened is never closed", "close the quote, or leave quotes out"),
        ("mapping values", "a `:` stands where no key can be", COLON),
        ("illegal placement", "a `:` stands where no key can be", COLON),
        ("simple key", "a key without its `:`", "write `KEY: VALUE`"),
        (
            "',' or ']'",
            "a list in brackets is not closed or lacks a comma",
            "check the `[`, the commas and the `]`",
        ),
        (
            "',' or '}'",
            "a map in braces is not closed or lacks a comma",
            "check the `{`, the commas and the `}`",
        ),
        (
            "bracket",
            "a bracket is closed that was never opened",
            "take it away, or put quotes around the text",
        ),
        ("tab", "a tab stands where only blanks may", "write blanks instead of the tab"),
        ("block scalar", "the text behind `|` or `>` is not indented evenly", "indent all its lines alike"),
        ("indent", "the indentation does not fit the lines above", ALIGN),
        ("block mapping", "the indentation does not fit the lines above", ALIGN),
        ("block collection", "the indentation does not fit the lines above", ALIGN),
        ("block sequence", "a list can't begin here", "begin it on a line of its own"),
        (
            "unknown anchor",
            "an alias `*` without its anchor `&`",
            "put quotes around a text that begins with `*`",
        ),
        ("anchor or alias", "a text can't begin with `*` or `&`", QUOTE),
        ("tag", "a text can't begin with `!`", QUOTE),
        ("directive", "a text can't begin with `%`", QUOTE),
        ("unprintable", "a character that no text may hold", "take the character out"),
        ("byte order mark", "a byte order mark stands inside the text", "take the character out"),
        ("unexpected character", "a text can't begin with this character", QUOTE),
        ("cannot start any token", "a text can't begin with this character", QUOTE),
        ("next token", "a text can't begin with this character", QUOTE),
        ("plain scalar", "a text can't begin or end like this", QUOTE),
        ("node content", "a value is missing, or begins with a character that it can't", QUOTE),
    ];
    match WORDS.iter().find(|(part, ..)| info.contains(part)) {
        Some((_, fact, help)) => ((*fact).to_string(), (*help).to_string()),
        None => (
            format!("this is no YAML: {info}"),
            "check quotes, brackets and indentation near here".to_string(),
        ),
    }
}

/// Serde refused what the walk found nothing wrong with; its own words must do.
fn unexplained(file: &str, text: &str, error: &serde_yaml::Error) -> Fault {
    let message = error.to_string();
    let at = error.location().map(|location| location.index().min(text.len()));
    let place = match at.filter(|at| text.is_char_boundary(*at)) {
        Some(at) => Lines::of(text).place(file, text, at, at),
        None => Place::file(file),
    };
    let message = match message.find(" at line ") {
        Some(tail) => message.get(..tail).unwrap_or_default().to_string(),
        None => message,
    };
    // The two parsers differ in a few corners of the syntax: then it is the text, not what it says.
    if serde_yaml::from_str::<serde::de::IgnoredAny>(text).is_err() {
        let (fact, help) = syntax_words(&message);
        return Fault::error("bad-yaml", place, fact).labelled("here").help(help);
    }
    // The conditions of a step are judged together, where the route stands in front of the fact.
    if let Some((_, said)) = message.split_once(": ").filter(|(route, _)| route.starts_with("sensitivity")) {
        let (fact, help) = split_help(said);
        return Fault::error("bad-value", place, fact).labelled("in this step").help(help);
    }
    let fault = Fault::error("unreadable-record", place, message.chars().take(400).collect::<String>());
    fault.labelled("can't be read").help("compare with `schema/`, which describes every kind of record")
}

#[cfg(test)]
mod tests;
