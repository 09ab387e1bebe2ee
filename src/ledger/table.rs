//! Reading a data file: one row for each specimen.
//!
//! Further columns cost nothing where they are absent: a row has at most one box for all of them, and shares it with the
//! row before where that says the same; words that come again are kept once, and cells of columns that are not known
//! stand in one text a row.

use super::{Further, Specimen};
use head::{Columns, Measure};
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

mod head;

/// Faults named singly; a file that is wrong throughout is wrong in the same way.
const FAULTS_SHOWN: usize = 20;

/// Words of a column of units that are looked at.
const UNITS_KEPT: usize = 8;

/// More columns than any test report has; more would only cost memory.
const MAX_COLUMNS: usize = 64;
/// The same of rows.
const MAX_ROWS: usize = 1_000_000;
/// The same of the plies of a specimen.
const MAX_PLIES: u32 = 10_000;
const DECIMAL_COMMA: &str =
    "write decimals with a point, or keep the decimal comma and put `;` or a tab between columns";
/// Stands between the cells of columns that are not known: ASCII's unit separator, which no cell has.
pub(super) const BETWEEN: char = '\u{1f}';

/// What a data file holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Table {
    /// Unit of the values, from the header.
    pub unit: Option<String>,
    /// What a column of units says, each word once with its first line: it is not read, but may contradict.
    pub said: BTreeMap<String, usize>,
    /// Names of the columns that are not known, as written; [`Specimen::others`] has their cells.
    pub others: Vec<String>,
    /// All rows, rejected ones included; states that have the same file share them.
    pub rows: Arc<[Specimen]>,
}

/// A fault in a data file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct BadLine {
    /// Line, from 1.
    pub line: usize,
    /// What is wrong.
    pub message: String,
    /// What is marked.
    pub label: &'static str,
    /// What mends it.
    pub help: &'static str,
}

/// Reads a table from the bytes of a file.
///
/// # Errors
/// All faults in the order of their lines.
pub(crate) fn read(bytes: &[u8]) -> Result<Table, Vec<BadLine>> {
    Reader::of(bytes)?.read()
}

fn line_of(before: &[u8]) -> usize {
    before.iter().filter(|byte| **byte == b'\n').count().saturating_add(1)
}

/// Gathers the faults of one file.
pub(super) struct Reader<'t> {
    pub(super) text: &'t str,
    /// The first faults by line, of which a few more than are shown are kept.
    pub(super) faults: Vec<BadLine>,
    /// How many were not kept.
    more: usize,
    pub(super) most_rows: usize,
}

impl<'t> Reader<'t> {
    /// Returns a reader of the text that the bytes are.
    ///
    /// # Errors
    /// The place where they are none.
    pub(super) fn of(bytes: &'t [u8]) -> Result<Self, Vec<BadLine>> {
        let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
        let text = std::str::from_utf8(bytes).map_err(|error| {
            let before = bytes.get(..error.valid_up_to()).unwrap_or_default();
            vec![BadLine {
                line: line_of(before),
                message: "the file is not UTF-8 text".to_string(),
                label: "not UTF-8",
                help: "save it as CSV with UTF-8 encoding",
            }]
        })?;
        Ok(Self { faults: Vec::new(), more: 0, most_rows: MAX_ROWS, text })
    }

    /// Returns what stands between the columns.
    pub(super) fn delimiter(&self) -> u8 {
        let first = self.text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
        let count = |one: u8| first.bytes().filter(|other| *other == one).count();
        // The last of equals; a comma where there is none, so that the message names what is lacking.
        [b'\t', b';', b','].into_iter().max_by_key(|one| count(*one)).unwrap_or(b',')
    }

    pub(super) fn fault(
        &mut self,
        line: usize,
        message: impl Into<String>,
        label: &'static str,
        help: &'static str,
    ) {
        // Rows come in the order of their lines, so what is left out lies behind what is kept; what is found
        // at the end (the same specimen, points and commas) may lie before it and takes its place.
        let fault = BadLine { line, message: message.into(), label, help };
        if self.faults.len() <= FAULTS_SHOWN {
            self.faults.push(fault);
            return;
        }
        self.more = self.more.saturating_add(1);
        let last = self.faults.iter_mut().max_by_key(|kept| kept.line);
        if let Some(last) = last.filter(|last| line < last.line) {
            *last = fault;
        }
    }

    /// Returns the rows of the text, cells without the blanks around them.
    pub(super) fn rows(&self) -> csv::Reader<&'t [u8]> {
        csv::ReaderBuilder::new()
            .delimiter(self.delimiter())
            .flexible(true)
            .has_headers(false)
            .trim(csv::Trim::All)
            .from_reader(self.text.as_bytes())
    }

    /// Hands on every row with its line until `each` returns whether to go on; a row that can't be read, or has
    /// more cells than any file needs, is a fault and the last.
    pub(super) fn each_row(&mut self, mut each: impl FnMut(&mut Self, usize, &csv::StringRecord) -> bool) {
        let mut rows = self.rows();
        let mut lines = Lines::of(self.text);
        let mut record = csv::StringRecord::new();
        loop {
            match rows.read_record(&mut record) {
                Ok(false) => break,
                Ok(true) => {}
                Err(error) => {
                    self.fault(lines.line, error.to_string(), "not readable", "save the file as CSV again");
                    break;
                }
            }
            let byte = record.position().map_or(0, csv::Position::byte);
            let line = lines.line_at(usize::try_from(byte).unwrap_or(usize::MAX));
            if record.len() > MAX_COLUMNS && record.iter().skip(MAX_COLUMNS).any(|cell| !cell.is_empty()) {
                let message = format!("the line has {} cells; at most {MAX_COLUMNS} are read", record.len());
                let help = "keep the columns that are read, and one row a line";
                self.fault(line, message, "too many cells", help);
                break;
            }
            if !each(self, line, &record) {
                break;
            }
        }
    }

    /// Returns whether a file that has so many rows takes no more of them, which is a fault.
    pub(super) fn is_full(&mut self, line: usize, rows: usize) -> bool {
        let full = rows >= self.most_rows;
        if full {
            let message = format!("the file has more than {} rows", self.most_rows);
            let help = "split the file into one for each evidence record";
            self.fault(line, message, "too many rows", help);
        }
        full
    }

    /// Returns whether a row has anything to read; more cells than the header has columns are a fault.
    pub(super) fn is_row(
        &mut self,
        line: usize,
        record: &csv::StringRecord,
        columns: usize,
        numbers: &Numbers,
    ) -> bool {
        // A spreadsheet writes empty rows as lines of nothing but delimiters.
        if record.iter().all(str::is_empty) {
            return false;
        }
        let more = record.iter().skip(columns).any(|cell| !cell.is_empty());
        if more {
            let help = if numbers.commas {
                "write the row's cells under the header's columns; quote a cell that has a delimiter in it"
            } else {
                DECIMAL_COMMA
            };
            self.fault(line, "the row has more cells than the header has columns", "too many cells", help);
        }
        !more
    }

    /// Says where a file has decimal commas and points.
    pub(super) fn decimals_are_alike(&mut self, numbers: &Numbers) {
        if let Some(line) = numbers.comma.and(numbers.point) {
            let help = "write all decimals alike; thousands take no separator";
            self.fault(line, "the file has decimal commas and points", "decimal point", help);
        }
    }

    fn read(mut self) -> Result<Table, Vec<BadLine>> {
        let mut columns: Option<Columns> = None;
        let (mut unit, mut others, mut head_line) = (None, Vec::new(), 1);
        let mut words = BTreeSet::new();
        let mut rows = Vec::new();
        let mut said = BTreeMap::new();
        let mut numbers = Numbers::of(self.delimiter());
        self.each_row(|reader, line, record| {
            let Some(columns) = &columns else {
                head_line = line;
                let found = reader.header(line, record);
                return found.is_some_and(|found| {
                    (unit, others) = (found.unit, found.others);
                    columns = Some(found.columns);
                    true
                });
            };
            if reader.is_full(line, rows.len()) {
                return false;
            }
            if let Some(mut row) = reader.row(line, record, columns, &mut numbers, &mut words) {
                let word = columns.units.and_then(|at| record.get(at)).filter(|word| !word.is_empty());
                if let Some(word) = word.filter(|word| said.len() < UNITS_KEPT && !said.contains_key(*word)) {
                    said.insert(word.to_string(), line);
                }
                let before = rows.last().and_then(|before: &Specimen| before.further.as_ref());
                if let Some(before) = before.filter(|before| row.further.as_ref() == Some(*before)) {
                    row.further = Some(Arc::clone(before));
                }
                rows.push(row);
            }
            true
        });
        if columns.is_none() {
            if self.faults.is_empty() {
                self.fault(
                    1,
                    "the file is empty",
                    "no header",
                    "write the header `batch,panel,specimen,value [MPa]`",
                );
            }
            return Err(self.shown());
        }
        self.decimals_are_alike(&numbers);
        if rows.is_empty() && self.faults.is_empty() {
            self.fault(head_line, "the file has no rows", "only a header", "write one row for each specimen");
        }
        self.duplicates(&rows);
        if self.faults.is_empty() {
            Ok(Table { unit, said, others, rows: rows.into() })
        } else {
            Err(self.shown())
        }
    }

    fn row(
        &mut self,
        line: usize,
        record: &csv::StringRecord,
        columns: &Columns,
        numbers: &mut Numbers,
        words: &mut BTreeSet<Arc<str>>,
    ) -> Option<Specimen> {
        if !self.is_row(line, record, columns.count, numbers) {
            return None;
        }
        let cell = |index: usize| record.get(index).unwrap_or_default();
        let mut whole = true;
        for (name, index) in
            [("batch", columns.batch), ("panel", columns.panel), ("specimen", columns.specimen)]
        {
            if cell(index).is_empty() {
                self.fault(line, format!("the row has no {name}"), "empty cell", "write its label");
                whole = false;
            }
        }
        let rejected = columns.rejected.map(cell).filter(|reason| !reason.is_empty()).map(Box::from);
        let text = cell(columns.value);
        let value = if text.is_empty() && rejected.is_some() {
            Some(f64::NAN)
        } else if text.is_empty() {
            let help = "write the value, or why the specimen was rejected";
            self.fault(line, "the row has no value and no reason why it was rejected", "no value", help);
            None
        } else {
            self.number(text, line, numbers, None)
        };
        let (further, sound) = self.further(line, record, columns, numbers, words);
        Some(Specimen {
            batch: shared(words, cell(columns.batch)),
            panel: shared(words, cell(columns.panel)),
            specimen: cell(columns.specimen).into(),
            value: value.filter(|_| whole && sound)?,
            rejected,
            further,
            line,
        })
    }

    /// Reads a number; `None` with a fault where the text is none. `column` is named for others than values.
    fn number(
        &mut self,
        text: &str,
        line: usize,
        numbers: &mut Numbers,
        column: Option<Measure>,
    ) -> Option<f64> {
        let value = numbers.read(text, line);
        if value.is_none() {
            let (place, help) = match column {
                _ if text.contains(',') && !numbers.commas => (column, DECIMAL_COMMA),
                None => (None, "write a plain decimal number, without unit and thousands separators"),
                Some(_) => (
                    column,
                    "write a plain decimal number, or leave the cell empty where it was not measured",
                ),
            };
            let place = place.map_or(String::new(), |own| format!(" in the column `{}`", own.word()));
            self.fault(line, format!("`{text}` is no number{place}"), "no number", help);
        }
        value
    }

    /// What the row says beside its labels and value, and whether that is sound.
    fn further(
        &mut self,
        line: usize,
        record: &csv::StringRecord,
        columns: &Columns,
        numbers: &mut Numbers,
        words: &mut BTreeSet<Arc<str>>,
    ) -> (Option<Arc<Further>>, bool) {
        let cell = |at: usize| record.get(at).unwrap_or_default();
        let mut sound = true;
        let mut found = Further::default();
        for column in &columns.measured {
            let text = cell(column.at);
            if text.is_empty() {
                continue;
            }
            let value = self.number(text, line, numbers, Some(column.measure)).map(|own| own * column.scale);
            let Some(value) = value else {
                sound = false;
                continue;
            };
            if let Err(words) = column.measure.fits(value) {
                let word = column.measure.word();
                let message = format!("`{text}` in the column `{word}` is out of range: it must be {words}");
                self.fault(line, message, "out of range", "correct the figure, or the unit in the header");
                sound = false;
                continue;
            }
            match column.measure {
                Measure::PlyThickness => found.ply_thickness = Some(value),
                Measure::Thickness => found.thickness = Some(value),
                // A whole number below the most, as was just seen.
                #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
                Measure::Plies => found.plies = Some(value as u32),
                Measure::FibreVolume => found.fibre_volume = Some(value),
                Measure::Width => found.width = Some(value),
            }
        }
        // A column of words has few: each is kept once, as labels are.
        let mut word =
            |at: Option<usize>| at.map(cell).filter(|text| !text.is_empty()).map(|text| shared(words, text));
        (found.mode, found.condition) = (word(columns.mode), word(columns.condition));
        if columns.others.iter().any(|at| !cell(*at).is_empty()) {
            if columns.others.iter().any(|at| cell(*at).contains(BETWEEN)) {
                let help = "take it out";
                self.fault(line, "the row has a control character (U+001F)", "control character", help);
                sound = false;
            }
            let mut joined = String::new();
            for (index, at) in columns.others.iter().enumerate() {
                if index > 0 {
                    joined.push(BETWEEN);
                }
                joined.push_str(cell(*at));
            }
            found.others = joined.into_boxed_str();
        }
        let some = found != Further::default();
        (some.then(|| Arc::new(found)), sound)
    }

    fn duplicates(&mut self, rows: &[Specimen]) {
        let mut seen: BTreeMap<(&str, &str, &str), usize> = BTreeMap::new();
        for row in rows {
            if let Some(first) = seen.insert((&row.batch, &row.panel, &row.specimen), row.line) {
                let message = format!(
                    "specimen `{}` of batch `{}`, panel `{}` stands on line {first} too",
                    row.specimen, row.batch, row.panel
                );
                self.fault(row.line, message, "same specimen", "take the row out, or correct its labels");
            }
        }
    }

    pub(super) fn shown(mut self) -> Vec<BadLine> {
        self.faults.sort_by_key(|fault| fault.line);
        let more = self.faults.len().saturating_sub(FAULTS_SHOWN).saturating_add(self.more);
        if let Some(next) = self.faults.get(FAULTS_SHOWN).map(|fault| fault.line) {
            self.faults.truncate(FAULTS_SHOWN);
            let message = format!("there are {more} faults more from here on");
            self.fault(next, message, "and more", "mend the ones above first");
        }
        self.faults
    }
}

/// Numbers of one file, and where it has decimal commas and points.
pub(super) struct Numbers {
    /// Whether a comma may be a decimal's: where it separates no columns.
    commas: bool,
    comma: Option<usize>,
    point: Option<usize>,
}

impl Numbers {
    /// Returns a file without numbers yet; this stands between its columns.
    pub(super) fn of(delimiter: u8) -> Self {
        Self { commas: delimiter != b',', comma: None, point: None }
    }

    pub(super) fn read(&mut self, text: &str, line: usize) -> Option<f64> {
        // Rust would also read `inf`, `nan` and the like, which no scale shows.
        let plain =
            text.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b',' | b'e' | b'E'));
        if !plain {
            return None;
        }
        let comma = text.contains(',');
        if comma && (!self.commas || text.matches(',').count() > 1 || text.contains('.')) {
            return None;
        }
        if comma {
            self.comma.get_or_insert(line);
        } else if text.contains('.') {
            self.point.get_or_insert(line);
        }
        text.replace(',', ".").parse().ok().filter(|value: &f64| value.is_finite())
    }
}

/// Lines of the starts of records, which only go forward.
struct Lines<'t> {
    text: &'t [u8],
    at: usize,
    line: usize,
}

impl<'t> Lines<'t> {
    fn of(text: &'t str) -> Self {
        Self { text: text.as_bytes(), at: 0, line: 1 }
    }

    /// The line of the first byte from `byte` on that ends no line: blank lines belong to no record.
    fn line_at(&mut self, byte: usize) -> usize {
        while let Some(next) = self.text.get(self.at) {
            if self.at >= byte && !matches!(next, b'\n' | b'\r') {
                break;
            }
            if *next == b'\n' {
                self.line = self.line.saturating_add(1);
            }
            self.at = self.at.saturating_add(1);
        }
        self.line
    }
}

/// Returns a text as it is kept once among some words.
fn shared(words: &mut BTreeSet<Arc<str>>, text: &str) -> Arc<str> {
    if let Some(known) = words.get(text) {
        return Arc::clone(known);
    }
    let own: Arc<str> = text.into();
    words.insert(Arc::clone(&own));
    own
}

#[cfg(test)]
mod tests;
