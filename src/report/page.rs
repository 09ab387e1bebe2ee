//! Plain text for a terminal: colour, width, paragraphs and rows that hang.

use super::head::CAUTION_LINE;
use super::table::Table;
use crate::qualify::verdict::Verdict;
use crate::quantity::UnitSystem;
use anstyle::{AnsiColor, Color};

/// Whether colour may be used. There are two hues, and nothing is said by them alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Style {
    /// Write ANSI colours.
    pub colour: bool,
}

impl Style {
    fn paint(self, style: anstyle::Style, text: &str) -> String {
        if self.colour { format!("{style}{text}{style:#}") } else { text.to_string() }
    }

    /// Returns a heading.
    pub fn heading(self, text: &str) -> String {
        self.paint(anstyle::Style::new().bold(), text)
    }

    /// Returns a verdict in its hue: blue where it stands, magenta where something is wanted.
    pub fn verdict(self, verdict: Verdict, text: &str) -> String {
        let hue = if verdict.is_closed() { AnsiColor::Blue } else { AnsiColor::Magenta };
        let style = anstyle::Style::new().fg_color(Some(Color::Ansi(hue)));
        // Bold tells the two apart where hues do not.
        self.paint(if verdict.is_closed() { style } else { style.bold() }, text)
    }
}

/// What the text has to fit and how it is to look.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// Columns; taken as 40 where fewer.
    pub width: usize,
    /// Colour.
    pub style: Style,
    /// Leave nothing out of long lists.
    pub all: bool,
    /// Currency of costs; may be empty.
    pub currency: String,
    /// Units of masses.
    pub units: UnitSystem,
}

impl Default for Frame {
    fn default() -> Self {
        Self {
            width: 80,
            style: Style::default(),
            all: false,
            currency: String::new(),
            units: UnitSystem::default(),
        }
    }
}

impl Frame {
    /// Returns a frame with the ledger's currency and units.
    pub fn of(ledger: &crate::ledger::Ledger, width: usize, style: Style, all: bool) -> Self {
        let head = ledger.head.as_ref();
        let currency = head.and_then(|head| head.currency.as_ref());
        Self {
            width,
            style,
            all,
            currency: currency.map_or_else(String::new, ToString::to_string),
            units: head.and_then(|head| head.units).unwrap_or_default(),
        }
    }

    /// Returns the columns that text may fill.
    pub fn columns(&self) -> usize {
        self.width.max(NARROWEST)
    }

    /// Returns how many of `n` entries are shown where `most` are as a rule.
    pub fn shown(&self, n: usize, most: usize) -> usize {
        // Leaving out a single one would save nothing.
        if self.all || n <= most + 1 { n } else { most }
    }
}

/// Narrower than this no text is written.
const NARROWEST: usize = 40;

/// The shape of a verdict, so that its form says the same as its colour.
pub fn shape(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Met => "●",
        Verdict::Conceded => "◐",
        Verdict::Short => "◇",
        Verdict::Lapsed => "▽",
        Verdict::Open => "◌",
        Verdict::Failed => "✕",
    }
}

/// Returns a count with its noun; `duty` becomes `duties`, `batch` `batches`.
pub fn count(n: usize, word: &str) -> String {
    match (n, word.strip_suffix('y')) {
        (1, _) => format!("1 {word}"),
        (_, Some(stem)) if !word.ends_with("ay") => format!("{n} {stem}ies"),
        _ if word.ends_with("ch") => format!("{n} {word}es"),
        _ => format!("{n} {word}s"),
    }
}

/// Says once what several sentences say of things that differ in one word.
///
/// `x lacks a`, `x lacks b` become `x lacks a, b`; the order is that of the first of each.
pub fn merged<S: AsRef<str>>(sentences: &[S]) -> Vec<String> {
    type Merged<'t> = (Vec<&'t str>, Option<usize>, Vec<&'t str>);
    let mut groups: Vec<Merged<'_>> = Vec::new();
    for sentence in sentences {
        let words: Vec<&str> = sentence.as_ref().split_whitespace().collect();
        let fits = |group: &Merged<'_>| -> Option<usize> {
            let (first, at, _) = group;
            let differ = |pair: &(usize, (&&str, &&str))| pair.1.0 != pair.1.1;
            let mut places = first.iter().zip(&words).enumerate().filter(differ).map(|(place, _)| place);
            let place = places.next()?;
            let alone = first.len() == words.len() && places.next().is_none();
            (alone && at.is_none_or(|at| at == place)).then_some(place)
        };
        match groups.iter_mut().find_map(|group| fits(group).map(|place| (group, place))) {
            Some(((_, at, others), place)) => {
                *at = Some(place);
                others.extend(words.get(place));
            }
            None => groups.push((words, None, Vec::new())),
        }
    }
    groups
        .into_iter()
        .map(|(words, at, others)| {
            let say = |(place, word): (usize, &&str)| match at {
                Some(at) if at == place => {
                    std::iter::once(word).chain(&others).copied().collect::<Vec<_>>().join(", ")
                }
                _ => (*word).to_string(),
            };
            words.iter().enumerate().map(say).collect::<Vec<_>>().join(" ")
        })
        .collect()
}

/// The marks that the built-in table sets behind its sources.
const MARKS: [(&str, &str); 4] = [
    ("[V", "[V] the text was read"),
    ("[2]", "[2] somebody else's quotation of it was read"),
    ("[M]", "[M] named from memory, check before relying on it"),
    ("[CP]", "[CP] common practice, no source"),
];

/// Text in the making.
pub(crate) struct Page<'f> {
    pub(crate) frame: &'f Frame,
    out: String,
}

impl<'f> Page<'f> {
    pub(crate) fn new(frame: &'f Frame) -> Self {
        Self { frame, out: String::new() }
    }

    pub(crate) fn finish(self) -> String {
        self.out
    }

    /// Ends a report with what the marks of the sources above mean, and the caution.
    pub(crate) fn finish_with_caution(mut self) -> String {
        self.gap();
        let marks: Vec<&str> =
            MARKS.iter().filter(|(mark, _)| self.out.contains(mark)).map(|(_, words)| *words).collect();
        if !marks.is_empty() {
            self.paragraph(&format!("Sources: {}.", marks.join("; ")));
        }
        self.paragraph(CAUTION_LINE);
        self.finish()
    }

    /// A blank line, unless nothing stands above.
    pub(crate) fn gap(&mut self) {
        if !self.out.is_empty() && !self.out.ends_with("\n\n") {
            self.out.push('\n');
        }
    }

    pub(crate) fn heading(&mut self, text: &str) {
        self.gap();
        for line in fold(text, self.frame.columns()) {
            self.out.push_str(&self.frame.style.heading(&line));
            self.out.push('\n');
        }
    }

    pub(crate) fn paragraph(&mut self, text: &str) {
        self.hang("", "", text);
    }

    /// Text whose first line starts with `first` and whose others start with `rest`.
    pub(crate) fn hang(&mut self, first: &str, rest: &str, text: &str) {
        self.hang_painted(first, first, rest, text);
    }

    /// A verdict with its shape, then text.
    pub(crate) fn verdict(&mut self, verdict: Verdict, text: &str) {
        let plain = format!("{} {:<9}", shape(verdict), verdict.word());
        let word = format!("{} {}", shape(verdict), verdict.word());
        let blanks = " ".repeat(plain.chars().count().saturating_sub(word.chars().count()));
        let painted = format!("{}{blanks}", self.frame.style.verdict(verdict, &word));
        self.hang_painted(&plain, &painted, "    ", text);
    }

    fn hang_painted(&mut self, plain: &str, painted: &str, rest: &str, text: &str) {
        let columns = self.frame.columns();
        let letters = |text: &str| text.chars().count();
        let room = (columns.saturating_sub(letters(plain)), columns.saturating_sub(letters(rest)));
        for (at, line) in fold_hanging(text, room.0, room.1).into_iter().enumerate() {
            let whole = if at == 0 { format!("{painted}{line}") } else { format!("{rest}{line}") };
            self.out.push_str(whole.trim_end());
            self.out.push('\n');
        }
    }

    pub(crate) fn table(&mut self, table: &Table) {
        self.out.push_str(&table.render(self.frame.columns()));
    }

    /// One line as it stands; the caller sees to its width.
    pub(crate) fn line(&mut self, text: &str) {
        self.out.push_str(text.trim_end());
        self.out.push('\n');
    }
}

/// Breaks text into lines of at most `width` characters.
pub fn fold(text: &str, width: usize) -> Vec<String> {
    fold_hanging(text, width, width)
}

/// The words of a text; the groups of a long number, such as `2 280`, stay one word.
fn words(text: &str) -> Vec<String> {
    let digits = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_ascii_digit());
    let mut all: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let group = word.trim_end_matches([',', '.', ';']);
        match all.last_mut() {
            Some(last) if group.len() == 3 && digits(group) && digits(&last.replace(' ', "")) => {
                last.push(' ');
                last.push_str(word);
            }
            _ => all.push(word.to_string()),
        }
    }
    all
}

/// Text with control characters shown instead of obeyed: a file may be called anything.
pub fn shown(text: &str) -> String {
    let show = |c: char| if c.is_control() { c.escape_default().to_string() } else { c.to_string() };
    text.chars().map(show).collect()
}

/// Breaks text at blanks; a word wider than a line is broken behind a mark such as `/`, `+` or `@`, else
/// where the line ends.
fn fold_hanging(text: &str, first: usize, rest: usize) -> Vec<String> {
    let (first, rest) = (first.max(8), rest.max(8));
    let mut lines: Vec<String> = vec![String::new()];
    let mut room = first;
    let mut filled = 0;
    for word in words(text) {
        let mut word: Vec<char> = word.chars().collect();
        if filled > 0 && filled + 1 + word.len() > room {
            lines.push(String::new());
            (room, filled) = (rest, 0);
        }
        while word.len() > room && filled == 0 {
            // The first line may be the shorter one: on the next the word may fit whole.
            if lines.len() == 1 && first < rest && word.len() <= rest {
                break;
            }
            let marks = |c: &char| matches!(c, '/' | '+' | '@' | ':' | '.' | '#' | ',' | '-');
            let cut = word.iter().take(room).rposition(marks).map_or(room, |at| at + 1);
            let tail = word.split_off(cut.max(1));
            if let Some(line) = lines.last_mut() {
                line.extend(word);
            }
            lines.push(String::new());
            (room, word) = (rest, tail);
        }
        if filled == 0 && word.len() > room {
            lines.push(String::new());
            room = rest;
        }
        if let Some(line) = lines.last_mut() {
            if filled > 0 {
                line.push(' ');
                filled += 1;
            }
            filled += word.len();
            line.extend(word);
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn long_words_are_broken_behind_their_marks() {
        let subject = "bond/paste-a@bond-rt:laminate.hatch-outer+sheet.acrylic-a";
        let lines = fold(subject, 24);
        assert!(lines.iter().all(|line| line.chars().count() <= 24), "{lines:?}");
        assert_eq!(lines.concat(), subject);
        assert_eq!(lines.first().map(String::as_str), Some("bond/paste-a@bond-rt:"));
        assert_eq!(fold("one two", 40), ["one two"]);
        assert_eq!(fold("", 40), [""]);
    }

    #[test]
    fn shapes_differ_without_colour() {
        let all = [
            Verdict::Met,
            Verdict::Conceded,
            Verdict::Short,
            Verdict::Lapsed,
            Verdict::Open,
            Verdict::Failed,
        ];
        let shapes: std::collections::BTreeSet<&str> = all.iter().map(|one| shape(*one)).collect();
        assert_eq!(shapes.len(), all.len());
    }

    #[test]
    fn colour_adds_nothing_but_colour() {
        let write = |colour: bool| {
            let frame = Frame { style: Style { colour }, ..Frame::default() };
            let mut page = Page::new(&frame);
            page.heading("Lapsed");
            page.verdict(Verdict::Lapsed, "lamina-tension  lamina/cw@oven");
            page.verdict(Verdict::Met, "lamina-tension  lamina/gw@oven");
            page.finish()
        };
        let (plain, coloured) = (write(false), write(true));
        assert_ne!(plain, coloured);
        assert_eq!(anstream::adapter::strip_str(&coloured).to_string(), plain);
        assert_eq!(
            plain,
            "Lapsed\n▽ lapsed   lamina-tension lamina/cw@oven\n● met      lamina-tension lamina/gw@oven\n"
        );
    }

    #[test]
    fn marks_are_explained_where_they_occur() {
        let close = |words: &str| {
            let frame = Frame { width: 200, ..Frame::default() };
            let mut page = Page::new(&frame);
            page.paragraph(words);
            page.finish_with_caution()
        };
        let none = format!("no mark here\n\n{CAUTION_LINE}\n");
        assert_eq!(close("no mark here"), none);
        let said = close("by a rule of the table [M] [CP]");
        assert!(
            said.contains(
                "Sources: [M] named from memory, check before relying on it; [CP] common practice, no source."
            ),
            "{said}"
        );
        assert!(!said.contains("[V]"), "{said}");
    }

    #[test]
    fn sentences_that_differ_in_one_word_are_said_once() {
        let all =
            ["e/1 was made with a unstated", "e/1 was made with b unstated", "e/2 was made with a unstated"];
        assert_eq!(merged(&all), ["e/1 was made with a, b unstated", "e/2 was made with a unstated"]);
        assert_eq!(merged(&["one", "one two", "one two three"]), ["one", "one two", "one two three"]);
        assert_eq!(merged::<&str>(&[]), Vec::<String>::new());
    }

    #[test]
    fn counts_read_as_words() {
        assert_eq!(count(1, "duty"), "1 duty");
        assert_eq!(count(2, "duty"), "2 duties");
        assert_eq!(count(3, "day"), "3 days");
        assert_eq!(count(3, "batch"), "3 batches");
        assert_eq!(count(0, "panel"), "0 panels");
    }
}
