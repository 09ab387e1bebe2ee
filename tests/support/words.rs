//! Texts of tests: arguments as a shell would split them, and what differs between machines taken out.

use bondline::qualify::table::Table;

/// Splits a command line at blanks; single and double quotes keep them.
pub fn split(line: &str) -> Vec<String> {
    let (mut words, mut word, mut quote) = (Vec::new(), None::<String>, None);
    for c in line.chars() {
        match (quote, c) {
            (Some(open), _) if c == open => quote = None,
            (None, '\'' | '"') => {
                quote = Some(c);
                word.get_or_insert_default();
            }
            (None, ' ') => words.extend(word.take()),
            _ => word.get_or_insert_default().push(c),
        }
    }
    assert!(quote.is_none(), "a quote is open in `{line}`");
    words.extend(word);
    words
}

/// Reads `\n`, `\t`, `\r`, `\s` (a blank) and `\\`.
pub fn unescape(text: &str) -> String {
    let mut out = String::new();
    let mut chars = text.chars();
    while let Some(c) = chars.next() {
        out.push(match (c, c == '\\') {
            (_, true) => match chars.next() {
                Some('n') => '\n',
                Some('t') => '\t',
                Some('r') => '\r',
                Some('s') => ' ',
                Some('\\') => '\\',
                other => panic!("no escape: \\{other:?}"),
            },
            (c, false) => c,
        });
    }
    out
}

/// Takes out the digest of the sensitivity table and the program's version: each changes for reasons
/// of its own, and would change every answer with it.
pub fn plain(text: &str) -> String {
    let table = Table::built_in().unwrap();
    text.replace(&table.digest, "[table]")
        .replace(table.short_digest(), "[table]")
        .replace(&format!("bondline {}", env!("CARGO_PKG_VERSION")), "bondline [version]")
        .replace(&format!("\"{}\"", env!("CARGO_PKG_VERSION")), "\"[version]\"")
}

/// The lines in which two texts differ, with a few around them.
pub fn difference(was: &str, is: &str) -> String {
    let (was, is): (Vec<_>, Vec<_>) = (was.lines().collect(), is.lines().collect());
    let same = was.iter().zip(&is).take_while(|(one, two)| one == two).count();
    let tail = was.iter().skip(same).rev().zip(is.iter().skip(same).rev());
    let tail = tail.take_while(|(one, two)| one == two).count();
    let mut out = String::new();
    let from = same.saturating_sub(2);
    was[from..same].iter().for_each(|line| out.push_str(&format!("  {line}\n")));
    was[same..was.len() - tail].iter().take(30).for_each(|line| out.push_str(&format!("- {line}\n")));
    is[same..is.len() - tail].iter().take(30).for_each(|line| out.push_str(&format!("+ {line}\n")));
    out
}

#[test]
fn command_lines_are_split_as_a_shell_would() {
    assert_eq!(split("why  x 'a b' \"\" c\"d e\""), ["why", "x", "a b", "", "cd e"]);
    assert_eq!(unescape("a\\n\\t\\\\"), "a\n\t\\");
}
