//! Aligned tables and wrapped paragraphs in plain text.

use unicode_width::UnicodeWidthStr;

/// To which side a column's cells keep.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Numbers.
    Right,
}

/// Blanks between two columns.
const GAP: usize = 2;
/// Words are not shortened below this.
const NARROWEST: usize = 8;
/// Nor below this where nothing else makes a table fit.
const LAST_RESORT: usize = 6;

/// A table in plain text: a head, a rule, rows, and optionally a rule and sums below them.
#[derive(Debug, Clone)]
pub struct Table {
    head: Vec<(String, Align)>,
    rows: Vec<Row>,
}

#[derive(Debug, Clone)]
enum Row {
    Cells(Vec<String>),
    Rule,
}

impl Table {
    /// Returns an empty table with these columns.
    pub fn new<'a>(columns: impl IntoIterator<Item = (&'a str, Align)>) -> Self {
        let head = columns.into_iter().map(|(name, align)| (name.to_string(), align)).collect();
        Self { head, rows: Vec::new() }
    }

    /// Adds a row; missing cells are blank, cells beyond the last column are left out.
    pub fn row(&mut self, cells: impl IntoIterator<Item = String>) {
        self.rows.push(Row::Cells(cells.into_iter().collect()));
    }

    /// Adds a rule across the table.
    pub fn rule(&mut self) {
        self.rows.push(Row::Rule);
    }

    /// Returns whether it has no rows.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Writes the table, every line ended. Where it is wider than `width`, its columns of words are
    /// shortened, the widest first; then names of columns are folded, then columns stand closer. Numbers are never
    /// shortened, so that a very narrow terminal gets longer lines.
    pub fn render(&self, width: usize) -> String {
        let Laid { widths, gap, folded } = self.laid(width);
        let whole = widths.iter().sum::<usize>() + gap * widths.len().saturating_sub(1);
        let rule = "-".repeat(whole);
        let mut out = String::new();
        for names in self.names(&widths, folded) {
            self.line(&names, &widths, gap, &mut out);
        }
        out.push_str(&rule);
        out.push('\n');
        for row in &self.rows {
            match row {
                Row::Cells(cells) => self.line(cells, &widths, gap, &mut out),
                Row::Rule => {
                    out.push_str(&rule);
                    out.push('\n');
                }
            }
        }
        out
    }

    /// How it is laid: the first way that fits; where none does, words are not shortened further for nothing.
    fn laid(&self, width: usize) -> Laid {
        let way = |gap: usize, folded: bool, least: usize| {
            let gaps = gap * self.head.len().saturating_sub(1);
            let widths = self.widths(width.saturating_sub(gaps), folded, least);
            let fits = widths.iter().sum::<usize>() + gaps <= width;
            (Laid { widths, gap, folded }, fits)
        };
        let tight = way(1, true, NARROWEST);
        let ways =
            [way(GAP, false, NARROWEST), way(GAP, true, NARROWEST), tight.clone(), way(1, true, LAST_RESORT)];
        ways.into_iter().find(|(_, fits)| *fits).unwrap_or(tight).0
    }

    /// Columns that fill `room` together, without the gaps.
    fn widths(&self, room: usize, folded: bool, least: usize) -> Vec<usize> {
        let name = |name: &str| match folded {
            true => name.split(' ').map(letters).max().unwrap_or(0),
            false => letters(name),
        };
        let mut widths: Vec<usize> = self.head.iter().map(|(own, _)| name(own)).collect();
        for row in &self.rows {
            let Row::Cells(cells) = row else { continue };
            for (widest, cell) in widths.iter_mut().zip(cells) {
                *widest = (*widest).max(letters(cell));
            }
        }
        loop {
            let too_much = widths.iter().sum::<usize>().saturating_sub(room);
            let shortened = widths
                .iter_mut()
                .zip(&self.head)
                .filter(|(widest, (_, align))| *align == Align::Left && **widest > least)
                .max_by_key(|(widest, _)| **widest);
            match shortened {
                Some((widest, _)) if too_much > 0 => *widest -= 1,
                _ => return widths,
            }
        }
    }

    /// The lines of the head, those of few words at its foot.
    fn names(&self, widths: &[usize], folded: bool) -> Vec<Vec<String>> {
        if !folded {
            return vec![self.head.iter().map(|(name, _)| name.clone()).collect()];
        }
        let stacks: Vec<Vec<String>> = self
            .head
            .iter()
            .zip(widths)
            .map(|((name, _), width)| wrap(name, *width).lines().map(str::to_string).collect())
            .collect();
        let tall = stacks.iter().map(Vec::len).max().unwrap_or(0);
        (0..tall)
            .map(|at| {
                let own = |stack: &Vec<String>| {
                    let place = (at + stack.len()).checked_sub(tall);
                    place.and_then(|place| stack.get(place)).cloned().unwrap_or_default()
                };
                stacks.iter().map(own).collect()
            })
            .collect()
    }

    fn line(&self, cells: &[String], widths: &[usize], gap: usize, out: &mut String) {
        let mut line = String::new();
        for (at, ((_, align), width)) in self.head.iter().zip(widths).enumerate() {
            if at > 0 {
                line.push_str(&" ".repeat(gap));
            }
            let cell = shorten(cells.get(at).map_or("", String::as_str), *width);
            let blanks = " ".repeat(width.saturating_sub(letters(&cell)));
            match align {
                Align::Left => line.push_str(&format!("{cell}{blanks}")),
                Align::Right => line.push_str(&format!("{blanks}{cell}")),
            }
        }
        out.push_str(line.trim_end());
        out.push('\n');
    }
}

/// How a table is laid.
#[derive(Clone)]
struct Laid {
    widths: Vec<usize>,
    gap: usize,
    /// Whether names of columns stand in several lines.
    folded: bool,
}

/// Columns that a text fills on a terminal: a wide letter two, a combining one none.
fn letters(text: &str) -> usize {
    text.width()
}

/// Cuts a text so that it fills no more columns than these.
pub(super) fn shorten(text: &str, width: usize) -> String {
    if letters(text) <= width {
        return text.to_string();
    }
    // Whole texts are measured: letters that join are narrower than one by one.
    let fits = |at: &usize| text.get(..*at).is_some_and(|kept| letters(kept) < width.max(1));
    let ends = text.char_indices().map(|(at, letter)| at + letter.len_utf8());
    let end = ends.take_while(fits).last().unwrap_or(0);
    format!("{}…", text.get(..end).unwrap_or_default())
}

/// Breaks a paragraph at blanks so that no line is wider than `width`, unless one word is; every line ended.
pub fn wrap(text: &str, width: usize) -> String {
    let mut out = String::new();
    let mut line = 0;
    for word in text.split_whitespace() {
        let wide = letters(word);
        if line > 0 && line + 1 + wide > width {
            out.push('\n');
            line = 0;
        } else if line > 0 {
            out.push(' ');
            line += 1;
        }
        out.push_str(word);
        line += wide;
    }
    out.push('\n');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> Table {
        let mut table = Table::new([("what", Align::Left), ("kg", Align::Right)]);
        table.row(["ply cw-200-e1".to_string(), "1.250".to_string()]);
        table.row(["core foam-52".to_string(), "10.000".to_string()]);
        table.rule();
        table.row(["sum".to_string(), "11.250".to_string()]);
        table
    }

    #[test]
    fn numbers_keep_right() {
        let expected = "\
what               kg
---------------------
ply cw-200-e1   1.250
core foam-52   10.000
---------------------
sum            11.250
";
        assert_eq!(table().render(80), expected);
    }

    #[test]
    fn words_give_way_to_the_width_and_numbers_do_not() {
        let narrow = table().render(18);
        assert!(narrow.lines().all(|line| line.chars().count() <= 18), "{narrow}");
        assert!(narrow.contains("ply cw-20…   1.250"), "{narrow}");
        assert!(table().render(3).contains("10.000"));
    }

    #[test]
    fn names_of_columns_fold_before_columns_stand_closer() {
        let mut table =
            Table::new([("what", Align::Left), ("after growth", Align::Right), ("%", Align::Right)]);
        table.row(["closures".to_string(), "+0.103".to_string(), "100.0".to_string()]);
        let lines = |width: usize| table.render(width).lines().map(str::to_string).collect::<Vec<_>>();
        assert_eq!(lines(80)[0], "what      after growth      %");
        assert_eq!(
            lines(24),
            [
                "           after",
                "what      growth      %",
                "-----------------------",
                "closures  +0.103  100.0"
            ]
        );
        assert_eq!(lines(21)[3], "closures +0.103 100.0");
    }

    #[test]
    fn columns_are_as_wide_as_a_terminal_draws_them() {
        let mut table = Table::new([("what", Align::Left), ("kg", Align::Right)]);
        table.row(["布 200".to_string(), "1.250".to_string()]);
        table.row(["e\u{301}toffe".to_string(), "10.000".to_string()]);
        // By the East Asian width of UAX 11: an ideograph fills two columns, a combining accent none.
        assert_eq!(
            table.render(80),
            "what        kg\n--------------\n布 200   1.250\ne\u{301}toffe  10.000\n"
        );
        let mut table = Table::new([("what", Align::Left)]);
        table.row(["布布布布布布布".to_string()]);
        assert!(table.render(8).ends_with("布布布…\n"), "{}", table.render(8));
        assert_eq!(wrap("布布布 布布", 10), "布布布\n布布\n");
    }

    #[test]
    fn paragraphs_break_at_blanks() {
        assert_eq!(wrap("one  two three", 7), "one two\nthree\n");
        assert_eq!(wrap("incomprehensible it", 5), "incomprehensible\nit\n");
        assert_eq!(wrap("", 5), "\n");
    }
}
