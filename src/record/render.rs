//! Draws a fault with the lines that it stands on.

use super::{Fault, Level, Place};
use annotate_snippets::renderer::DecorStyle;
use annotate_snippets::{
    AnnotationKind, Group, Level as Heading, Origin, Renderer, Snippet, normalize_untrusted_str,
};

/// Longer lines are cut around what is marked.
const LONGEST_LINE: usize = 200;
/// What is kept on each side of the mark in a line that is cut.
const MARGIN: usize = 60;
/// Marks over more lines show the first only.
const MOST_LINES: usize = 6;

/// Draws `fault`; `source` is the text of its file, where at hand.
///
/// The text is as wide as `width` columns where lines can be cut; `colour` asks for terminal escapes.
pub fn fault(fault: &Fault, source: Option<&str>, colour: bool, width: usize) -> String {
    let source = source.map(|text| text.strip_prefix('\u{feff}').unwrap_or(text));
    let heading = match fault.level {
        Level::Error => Heading::ERROR,
        Level::Warning => Heading::WARNING,
        Level::Note => Heading::NOTE,
    };
    let message = normalize_untrusted_str(&fault.message);
    let label = normalize_untrusted_str(&fault.label);
    let first = heading.primary_title(message).id(fault.rule);
    let mut groups = vec![marked(Group::with_title(first), &fault.place, source, &label)];
    for why in &fault.why {
        let near = source.filter(|_| why.place.file == fault.place.file);
        let title = Heading::NOTE.secondary_title(normalize_untrusted_str(&why.label));
        groups.push(marked(Group::with_title(title), &why.place, near, ""));
    }
    if let Some(help) = fault.help.as_ref().filter(|help| !help.is_empty()) {
        groups.push(Group::with_title(Heading::HELP.secondary_title(normalize_untrusted_str(help))));
    }
    let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
    let drawn = renderer.decor_style(DecorStyle::Ascii).term_width(width.max(40)).render(&groups);
    // An excerpt of a cut line has no path of its own; the mark that would lead to it says nothing.
    let lines = drawn.lines().filter(|line| anstream::adapter::strip_str(line).to_string().trim() != ":::");
    lines.collect::<Vec<_>>().join("\n")
}

/// Adds the file and, where its text is at hand, the marked lines.
fn marked<'a>(group: Group<'a>, place: &Place, source: Option<&str>, label: &str) -> Group<'a> {
    let path = normalize_untrusted_str(&place.file);
    let excerpt =
        source.zip(place.line).zip(place.span).and_then(|((source, line), span)| excerpt(source, line, span));
    let mut origin = Origin::path(path.clone());
    if let Some(line) = place.line {
        origin = origin.line(line).char_column(place.column.unwrap_or(1));
    }
    let Some(excerpt) = excerpt else { return group.element(origin) };
    let mut annotation = AnnotationKind::Primary.span(excerpt.from..excerpt.to);
    if !label.is_empty() {
        annotation = annotation.label(label.to_string());
    }
    let snippet = Snippet::source(excerpt.text).line_start(excerpt.line).annotation(annotation);
    // In a line that is cut, the column can't be counted from what is left of it.
    if excerpt.cut { group.element(origin).element(snippet) } else { group.element(snippet.path(path)) }
}

struct Excerpt {
    text: String,
    line: usize,
    from: usize,
    to: usize,
    cut: bool,
}

/// The marked lines alone, cut where they are long; `None` where the span does not fit the text.
fn excerpt(source: &str, line: usize, (start, end): (usize, usize)) -> Option<Excerpt> {
    let before = source.get(..start)?;
    source.get(start..end)?;
    let first = before.rfind('\n').map_or(0, |at| at + 1);
    let mut last = source.get(end..)?.find('\n').map_or(source.len(), |at| end + at);
    let mut end = end;
    // A mark over many lines is shown by its first.
    if source.get(first..last)?.lines().count() > MOST_LINES {
        last = source.get(start..)?.find('\n').map_or(source.len(), |at| start + at);
        end = last;
    }
    let text = source.get(first..last)?.trim_end_matches('\r');
    // A mark may stand on carriage returns that are left out.
    let start = start.min(first + text.len());
    let end = end.min(first + text.len()).max(start);
    if text.chars().count() <= LONGEST_LINE
        || text.contains('\n') && text.lines().all(|line| line.len() <= LONGEST_LINE)
    {
        // The whole of a long entry need not be marked: its beginning tells which it is.
        let mark = source.get(start..end)?;
        let to = if mark.contains('\n') { end } else { start + head(mark, MARGIN).len() };
        return Some(Excerpt {
            text: text.to_string(),
            line,
            from: start - first,
            to: to - first,
            cut: false,
        });
    }
    // One long line, or several with long ones among them: only what is around the mark's beginning.
    let lead = source.get(first..start)?;
    let kept_lead = tail(lead, MARGIN);
    let line_end = source.get(start..last)?.find('\n').map_or(last, |at| start + at);
    let mark = head(source.get(start..end.min(line_end))?.trim_end_matches('\r'), MARGIN);
    let behind = head(source.get(start + mark.len()..line_end)?.trim_end_matches('\r'), MARGIN);
    let cut_before = if kept_lead.len() < lead.len() { "... " } else { "" };
    let cut_behind = if start + mark.len() + behind.len() < line_end { " ..." } else { "" };
    let from = cut_before.len() + kept_lead.len();
    Some(Excerpt {
        text: format!("{cut_before}{kept_lead}{mark}{behind}{cut_behind}"),
        line,
        from,
        to: from + mark.len(),
        cut: true,
    })
}

fn head(text: &str, chars: usize) -> &str {
    text.char_indices().nth(chars).map_or(text, |(at, _)| text.get(..at).unwrap_or_default())
}

fn tail(text: &str, chars: usize) -> &str {
    let Some(skip) = text.chars().count().checked_sub(chars) else { return text };
    text.char_indices().nth(skip).map_or("", |(at, _)| text.get(at..).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::{Recipe, Why, read};
    use proptest::prelude::*;

    fn drawn(text: &str) -> String {
        let outcome = read::<Recipe>("recipes/hatch-outer.yaml", text.as_bytes());
        let all: Vec<String> = outcome.faults.iter().map(|one| fault(one, Some(text), false, 100)).collect();
        all.join("\n\n")
    }

    #[test]
    fn faults_look_as_agreed() {
        let text = "process: oven-120\nlayers:\n  - {material: CW 200, angle: 45}\n  - {material: cw, thickness: 6}\nmirror: none\nmirror: all\n";
        assert_eq!(
            drawn(text),
            "error[bad-reference]: `CW 200` is no id of a material
 --> recipes/hatch-outer.yaml:3:16
  |
3 |   - {material: CW 200, angle: 45}
  |                ^^^^^^ no id
  |
help: ids are lower-case letters, digits and `-`

error[missing-unit]: `6` has no unit; a length was expected
 --> recipes/hatch-outer.yaml:4:31
  |
4 |   - {material: cw, thickness: 6}
  |                               ^ needs a unit
  |
help: write the unit, for example `6 mm`; accepted: `mm`, `m`, `um`, `cm`, `in`, `mil`, `ft`

error[duplicate-key]: `mirror` stands here twice, first on line 5
 --> recipes/hatch-outer.yaml:6:1
  |
6 | mirror: all
  | ^^^^^^ again here
  |
note: first here
 --> recipes/hatch-outer.yaml:5:1
  |
5 | mirror: none
  | ^^^^^^
help: keep one of the two"
        );
    }

    #[test]
    fn without_text_or_place_the_sentence_stands_alone() {
        let one = Fault::error("too-large", Place::file("a.yaml"), "too many bytes").help("split it");
        assert_eq!(
            fault(&one, None, false, 80),
            "error[too-large]: too many bytes\n--> a.yaml\n |\nhelp: split it"
        );
        let mut two =
            Fault::warning("w", Place { line: Some(3), column: Some(2), ..Place::file("a.yaml") }, "m");
        two.why.push(Why { place: Place::file("b.yaml"), label: "set here".into() });
        assert_eq!(
            fault(&two, Some("x"), false, 80),
            "warning[w]: m\n--> a.yaml:3:2\n |\nnote: set here\n--> b.yaml"
        );
    }

    #[test]
    fn long_lines_are_cut_and_columns_stay_right() {
        let text = format!(
            "process: p\nlayers: [{}{{material: cw, angel: 1}}{}]\n",
            "{material: cw}, ".repeat(5000),
            ", {material: cw}".repeat(5000)
        );
        let drawn = drawn(&text);
        assert!(drawn.contains(" --> recipes/hatch-outer.yaml:2:80025\n"), "{drawn}");
        assert!(drawn.contains("^^^^^ not known here"), "{drawn}");
        assert!(drawn.lines().all(|line| line.len() < 250), "{drawn}");
    }

    #[test]
    fn nothing_from_the_file_can_steer_the_terminal() {
        let text = "process: p\nlayers: []\ntitle: a\nx\u{1b}[31m: 1\n";
        assert!(!drawn(text).contains('\u{1b}'), "{}", drawn(text));
    }

    #[test]
    fn a_mark_on_carriage_returns_is_drawn_at_the_end_of_the_line() {
        for text in ["ab\r\r\r", "ab\r\r\r\ncd", "\r\r\r\r"] {
            for (from, to) in [(3, 4), (4, 4), (4, 5), (5, 5)].into_iter().filter(|(_, to)| *to <= text.len())
            {
                let place = Place { line: Some(1), span: Some((from, to)), ..Place::file("f") };
                let drawn = fault(&Fault::error("r", place, "m").labelled("l"), Some(text), false, 80);
                assert!(drawn.contains('m'), "{text:?} {from}..{to}");
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn any_span_is_drawn(text in "[a-c é\t\r\n\u{1f600}]{0,300}", from in 0usize..400, len in 0usize..400, line in 0usize..5, width in 0usize..300) {
            let place = Place { line: Some(line), column: Some(1), span: Some((from, from + len)), ..Place::file("f") };
            let one = Fault::error("r", place, "m").labelled("l").help("h");
            prop_assert!(fault(&one, Some(&text), len % 2 == 0, width).contains("m"));
        }
    }
}
