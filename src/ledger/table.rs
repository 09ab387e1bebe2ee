//! Reading a data file: one row for each specimen.

use super::Specimen;
use crate::record::Figure;
use std::collections::BTreeMap;

/// Faults named singly; a file that is wrong throughout is wrong in the same way.
const FAULTS_SHOWN: usize = 20;

/// What a data file holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Table {
    /// Unit in the header.
    pub unit: Option<String>,
    /// All rows.
    pub rows: Vec<Specimen>,
}

/// A fault in a data file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct BadLine {
    /// Line, from 1.
    pub line: usize,
    /// What is wrong.
    pub message: String,
    /// What is marked.
    pub label: &'static str,
    /// What mends it.
    pub help: &'static str,
}

/// Where the columns stand.
struct Columns {
    batch: usize,
    panel: usize,
    specimen: usize,
    value: usize,
    rejected: Option<usize>,
    count: usize,
}

/// Reads a table from the bytes of a file.
///
/// # Errors
/// All faults in the order of their lines.
pub(super) fn read(bytes: &[u8]) -> Result<Table, Vec<BadLine>> {
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
    Reader { faults: Vec::new(), text }.read()
}

fn line_of(before: &[u8]) -> usize {
    before.iter().filter(|byte| **byte == b'\n').count().saturating_add(1)
}

struct Reader<'t> {
    text: &'t str,
    faults: Vec<BadLine>,
}

impl Reader<'_> {
    fn fault(&mut self, line: usize, message: impl Into<String>, label: &'static str, help: &'static str) {
        self.faults.push(BadLine { line, message: message.into(), label, help });
    }

    fn read(mut self) -> Result<Table, Vec<BadLine>> {
        let first = self.text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
        let count = |c: char| first.chars().filter(|other| *other == c).count();
        let semicolons = count(';') > count(',');
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(if semicolons { b';' } else { b',' })
            .flexible(true)
            .has_headers(false)
            .trim(csv::Trim::All)
            .from_reader(self.text.as_bytes());
        let mut lines = Lines { text: self.text.as_bytes(), at: 0, line: 1 };
        let mut records = Vec::new();
        for record in reader.records() {
            match record {
                Ok(record) => {
                    let byte = record.position().map_or(0, csv::Position::byte);
                    let line = lines.line_at(usize::try_from(byte).unwrap_or(usize::MAX));
                    records.push((line, record));
                }
                Err(error) => {
                    self.fault(lines.line, error.to_string(), "not readable", "save the file as CSV again");
                    break;
                }
            }
        }
        let mut records = records.into_iter();
        let Some((line, header)) = records.next() else {
            self.fault(
                1,
                "the file is empty",
                "no header",
                "write the header `batch,panel,specimen,value [MPa]`",
            );
            return Err(self.faults);
        };
        let (columns, unit) = self.header(line, &header);
        let Some(columns) = columns else { return Err(self.faults) };
        let mut rows = Vec::new();
        let mut numbers = Numbers { semicolons, comma: None, point: None };
        for (line, record) in records {
            if let Some(row) = self.row(line, &record, &columns, &mut numbers) {
                rows.push(row);
            }
        }
        if let (Some(_), Some(line)) = (numbers.comma, numbers.point) {
            let help = "write all decimals alike; thousands take no separator";
            self.fault(line, "the file has decimal commas and points", "decimal point", help);
        }
        if rows.is_empty() && self.faults.is_empty() {
            self.fault(line, "the file has no rows", "only a header", "write one row for each specimen");
        }
        self.duplicates(&rows);
        if self.faults.is_empty() { Ok(Table { unit, rows }) } else { Err(self.shown()) }
    }

    fn header(&mut self, line: usize, header: &csv::StringRecord) -> (Option<Columns>, Option<String>) {
        let help = "write the header `batch,panel,specimen,value [MPa]`, and `rejected` where needed";
        let mut places: BTreeMap<String, usize> = BTreeMap::new();
        let mut unit = None;
        for (index, cell) in header.iter().enumerate() {
            let mut name = cell.trim().to_lowercase();
            if let Some((before, inside)) = cell.split_once('[')
                && before.trim().eq_ignore_ascii_case("value")
            {
                name = "value".to_string();
                unit = inside.trim().strip_suffix(']').map(|unit| unit.trim().to_string());
                if unit.is_none() {
                    self.fault(line, format!("the unit in `{cell}` is not closed"), "no `]`", help);
                }
            }
            if places.insert(name.clone(), index).is_some() && !name.is_empty() {
                self.fault(
                    line,
                    format!("the column `{name}` is there twice"),
                    "column twice",
                    "keep one of them",
                );
            }
        }
        let unit = unit.filter(|unit| !unit.is_empty());
        if let Some(unit) = &unit
            && let Err(error) = Figure::parse(&format!("1 {unit}"))
        {
            self.fault(
                line,
                error,
                "unknown unit",
                "write the unit of the values, for example `value [MPa]`",
            );
        }
        let missing: Vec<String> = ["batch", "panel", "specimen", "value"]
            .iter()
            .filter(|name| !places.contains_key(**name))
            .map(|name| format!("`{name}`"))
            .collect();
        if !missing.is_empty() {
            self.fault(line, format!("the header lacks {}", missing.join(", ")), "columns missing", help);
        }
        let place = |name: &str| places.get(name).copied();
        let columns = || {
            Some(Columns {
                batch: place("batch")?,
                panel: place("panel")?,
                specimen: place("specimen")?,
                value: place("value")?,
                rejected: place("rejected"),
                count: header.len(),
            })
        };
        (columns(), unit)
    }

    fn row(
        &mut self,
        line: usize,
        record: &csv::StringRecord,
        columns: &Columns,
        numbers: &mut Numbers,
    ) -> Option<Specimen> {
        // A spreadsheet writes empty rows as lines of nothing but delimiters.
        if record.iter().all(str::is_empty) {
            return None;
        }
        if record.iter().skip(columns.count).any(|cell| !cell.is_empty()) {
            let help = "a decimal comma takes `;` between columns, or quotes around the number";
            self.fault(line, "the row has more cells than the header has columns", "too many cells", help);
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
        let rejected = columns.rejected.map(cell).filter(|reason| !reason.is_empty()).map(str::to_string);
        let text = cell(columns.value);
        let value = if text.is_empty() && rejected.is_some() {
            Some(f64::NAN)
        } else if text.is_empty() {
            let help = "write the value, or why the specimen was rejected";
            self.fault(line, "the row has no value and no reason why it was rejected", "no value", help);
            None
        } else {
            let value = numbers.read(text, line);
            if value.is_none() {
                let help = "write a plain decimal number, without unit and thousands separators";
                self.fault(line, format!("`{text}` is no number"), "no number", help);
            }
            value
        };
        Some(Specimen {
            batch: cell(columns.batch).to_string(),
            panel: cell(columns.panel).to_string(),
            specimen: cell(columns.specimen).to_string(),
            value: value.filter(|_| whole)?,
            rejected,
            line,
        })
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

    fn shown(mut self) -> Vec<BadLine> {
        self.faults.sort_by_key(|fault| fault.line);
        let more = self.faults.len().saturating_sub(FAULTS_SHOWN);
        if let Some(next) = self.faults.get(FAULTS_SHOWN).map(|fault| fault.line) {
            self.faults.truncate(FAULTS_SHOWN);
            let message = format!("there are {more} faults more from here on");
            self.fault(next, message, "and more", "mend the ones above first");
        }
        self.faults
    }
}

/// Numbers of one file, and where it has decimal commas and points.
struct Numbers {
    semicolons: bool,
    comma: Option<usize>,
    point: Option<usize>,
}

impl Numbers {
    fn read(&mut self, text: &str, line: usize) -> Option<f64> {
        // Rust would also read `inf`, `nan` and the like, which no scale shows.
        let plain =
            text.bytes().all(|b| b.is_ascii_digit() || matches!(b, b'+' | b'-' | b'.' | b',' | b'e' | b'E'));
        if !plain {
            return None;
        }
        let comma = text.contains(',');
        if comma && (!self.semicolons || text.matches(',').count() > 1 || text.contains('.')) {
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

impl Lines<'_> {
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
