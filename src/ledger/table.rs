//! Reading a data file: one row for each specimen.

use super::Specimen;
use crate::record::Figure;
use std::collections::BTreeMap;

/// Faults named singly; a file that is wrong throughout is wrong in the same way.
const FAULTS_SHOWN: usize = 20;

/// Words of a column of units that are looked at.
const UNITS_KEPT: usize = 8;

/// More columns than any test report has; more would only cost memory.
const MAX_COLUMNS: usize = 64;
/// The same of rows.
const MAX_ROWS: usize = 1_000_000;

/// What a data file holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Table {
    /// Unit in the header.
    pub unit: Option<String>,
    /// What a column of units says, each word once with its first line: it is not read, but may contradict.
    pub said: BTreeMap<String, usize>,
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
    units: Option<usize>,
    count: usize,
}

/// Reads a table from the bytes of a file.
///
/// # Errors
/// All faults in the order of their lines.
pub(super) fn read(bytes: &[u8]) -> Result<Table, Vec<BadLine>> {
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

    /// Returns whether semicolons stand between the columns.
    pub(super) fn has_semicolons(&self) -> bool {
        let first = self.text.lines().find(|line| !line.trim().is_empty()).unwrap_or_default();
        let count = |c: char| first.chars().filter(|other| *other == c).count();
        count(';') > count(',')
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

    fn read(mut self) -> Result<Table, Vec<BadLine>> {
        let semicolons = self.has_semicolons();
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(if semicolons { b';' } else { b',' })
            .flexible(true)
            .has_headers(false)
            .trim(csv::Trim::All)
            .from_reader(self.text.as_bytes());
        let mut lines = Lines::of(self.text);
        let mut columns: Option<Columns> = None;
        let (mut unit, mut head_line) = (None, 1);
        let mut rows = Vec::new();
        let mut said = BTreeMap::new();
        let mut numbers = Numbers::of(semicolons);
        let mut record = csv::StringRecord::new();
        loop {
            match reader.read_record(&mut record) {
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
                self.fault(
                    line,
                    message,
                    "too many cells",
                    "keep the columns that are read, and one row a line",
                );
                break;
            }
            let Some(columns) = &columns else {
                head_line = line;
                let (found, its_unit) = self.header(line, &record);
                let Some(found) = found else { return Err(self.shown()) };
                (columns, unit) = (Some(found), its_unit);
                continue;
            };
            if rows.len() >= self.most_rows {
                let message = format!("the file has more than {} rows", self.most_rows);
                self.fault(
                    line,
                    message,
                    "too many rows",
                    "split the file into one for each evidence record",
                );
                break;
            }
            if let Some(row) = self.row(line, &record, columns, &mut numbers) {
                let word = columns.units.and_then(|at| record.get(at)).filter(|word| !word.is_empty());
                if let Some(word) = word.filter(|word| said.len() < UNITS_KEPT && !said.contains_key(*word)) {
                    said.insert(word.to_string(), line);
                }
                rows.push(row);
            }
        }
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
        if let Some(line) = numbers.mixed() {
            let help = "write all decimals alike; thousands take no separator";
            self.fault(line, "the file has decimal commas and points", "decimal point", help);
        }
        if rows.is_empty() && self.faults.is_empty() {
            self.fault(head_line, "the file has no rows", "only a header", "write one row for each specimen");
        }
        self.duplicates(&rows);
        if self.faults.is_empty() { Ok(Table { unit, said, rows }) } else { Err(self.shown()) }
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
            let tabs = header.iter().any(|cell| cell.contains('\t'));
            let help = if tabs { "put `,` or `;` between columns: tabs separate none here" } else { help };
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
                units: place("unit").or_else(|| place("units")),
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
            let help = "write decimals with a point, or keep the decimal comma and put `;` between columns";
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
                let help = if text.contains(',') && !numbers.semicolons {
                    "write decimals with a point, or keep the decimal comma and put `;` between columns"
                } else {
                    "write a plain decimal number, without unit and thousands separators"
                };
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
    semicolons: bool,
    comma: Option<usize>,
    point: Option<usize>,
}

impl Numbers {
    /// Returns a file without numbers yet; `semicolons` stand between its columns.
    pub(super) fn of(semicolons: bool) -> Self {
        Self { semicolons, comma: None, point: None }
    }

    /// Returns the first line with a decimal point where there are decimal commas too.
    pub(super) fn mixed(&self) -> Option<usize> {
        self.comma.and(self.point)
    }

    pub(super) fn read(&mut self, text: &str, line: usize) -> Option<f64> {
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
pub(super) struct Lines<'t> {
    text: &'t [u8],
    at: usize,
    line: usize,
}

impl<'t> Lines<'t> {
    pub(super) fn of(text: &'t str) -> Self {
        Self { text: text.as_bytes(), at: 0, line: 1 }
    }

    /// The line of the first byte from `byte` on that ends no line: blank lines belong to no record.
    pub(super) fn line_at(&mut self, byte: usize) -> usize {
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_beyond_the_cap_are_a_fault_and_are_not_kept() {
        let text = "batch,panel,specimen,value\nb,p,1,5\nb,p,2,5\nb,p,3,5\nb,p,4,5\n";
        let capped = |most_rows| Reader { faults: Vec::new(), more: 0, most_rows, text }.read();
        assert_eq!(capped(4).unwrap().rows.len(), 4);
        let faults = capped(2).unwrap_err();
        assert_eq!((faults.len(), faults[0].line, faults[0].label), (1, 4, "too many rows"));
    }

    #[test]
    fn columns_are_capped_in_the_header_and_in_rows() {
        let wide = |n: usize| vec!["x"; n].join(",");
        let columns: Vec<String> = (4..64).map(|at| format!("c{at}")).collect();
        let head = format!("batch,panel,specimen,value,{}", columns.join(","));
        assert_eq!(read(format!("{head}\nb,p,s,5\n").as_bytes()).unwrap().rows.len(), 1);
        let faults = read(format!("{head},c64\nb,p,s,5\n").as_bytes()).unwrap_err();
        assert_eq!((faults.len(), faults[0].label), (1, "too many cells"), "{faults:?}");
        let row = format!("batch,panel,specimen,value\nb,p,s,5{}\n", ",".repeat(1000));
        assert!(read(row.as_bytes()).is_ok(), "blanks are no cells");
        let row = format!("batch,panel,specimen,value\n{}\nb,p,s,x\n", wide(100_000));
        assert_eq!(read(row.as_bytes()).unwrap_err().len(), 1);
    }

    #[test]
    fn the_first_faults_by_line_are_kept_and_the_rest_counted() {
        let mut text = "batch,panel,specimen,value\nb,p,s,5\nb,p,s,5\n".to_string();
        (0..500).for_each(|at| text.push_str(&format!("b,p,{at},x\n")));
        let faults = read(text.as_bytes()).unwrap_err();
        assert_eq!(faults.len(), FAULTS_SHOWN + 1);
        // The same specimen is found last and stands first.
        assert_eq!((faults[0].line, faults[0].label), (3, "same specimen"));
        assert!(faults[FAULTS_SHOWN].message.contains("481 faults more"), "{}", faults[FAULTS_SHOWN].message);
        assert_eq!(faults[FAULTS_SHOWN].line, 23);
    }
}
