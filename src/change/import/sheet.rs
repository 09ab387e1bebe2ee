//! A spreadsheet's CSV as rows of cells, each with its place.

/// One row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Line in the file, from 1.
    pub line: usize,
    /// Cells in the order of the columns, trimmed.
    pub cells: Vec<String>,
}

/// The file.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// Names of the columns, trimmed.
    pub columns: Vec<String>,
    /// Its rows, without those that are empty.
    pub lines: Vec<Line>,
    /// Whether numbers have a decimal comma: where columns are parted by semicolons.
    pub comma: bool,
}

/// Why a file can't be read as rows and columns.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SheetFault {
    /// Line, where it is one.
    pub line: Option<usize>,
    /// What is wrong.
    pub message: String,
    /// What mends it.
    pub help: String,
}

fn fault(line: Option<usize>, message: impl Into<String>, help: &str) -> SheetFault {
    SheetFault { line, message: message.into(), help: help.to_string() }
}

/// Reads a file: comma, semicolon or tab between columns, whichever the first line has most of.
///
/// # Errors
/// [`SheetFault`] where it is no text, has no columns, or a row has more or fewer cells than those.
pub fn sheet(bytes: &[u8]) -> Result<Sheet, SheetFault> {
    let text = std::str::from_utf8(bytes)
        .map_err(|_| fault(None, "the file is not UTF-8", "save it as `CSV UTF-8` from the spreadsheet"))?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let first = text.lines().next().unwrap_or_default();
    let count = |mark: u8| first.bytes().filter(|byte| *byte == mark).count();
    let mark = [b',', b';', b'\t'].into_iter().rev().max_by_key(|mark| count(*mark)).unwrap_or(b',');
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(mark)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut columns: Vec<String> = Vec::new();
    let mut lines = Vec::new();
    // A byte that a row begins at, and its line.
    let mut counted = (0, 1);
    for row in reader.records() {
        let row = row.map_err(|error| {
            let line = error.position().and_then(|own| usize::try_from(own.line()).ok());
            fault(
                line,
                error.to_string(),
                "write rows of cells with commas between, quotes round cells with commas",
            )
        })?;
        // The reader's own place is in front of empty lines, which it passes over.
        let at = row.position().and_then(|own| usize::try_from(own.byte()).ok()).unwrap_or(counted.0);
        let empty = text.as_bytes().iter().skip(at).take_while(|byte| matches!(byte, b'\r' | b'\n')).count();
        let passed = text.get(counted.0..at + empty).unwrap_or_default();
        counted = (at + empty, counted.1 + passed.matches('\n').count());
        let line = counted.1;
        let mut cells: Vec<String> = row.iter().map(str::to_string).collect();
        if cells.iter().all(String::is_empty) {
            continue;
        }
        if columns.is_empty() {
            columns = cells;
            continue;
        }
        while cells.len() > columns.len() && cells.last().is_some_and(String::is_empty) {
            cells.pop();
        }
        if cells.len() > columns.len() {
            let message =
                format!("the row has {} cells, the first line names {} columns", cells.len(), columns.len());
            return Err(fault(Some(line), message, "quote cells that hold the mark between columns"));
        }
        cells.resize(columns.len(), String::new());
        lines.push(Line { line, cells });
    }
    if columns.is_empty() {
        return Err(fault(None, "the file has no columns", "name the columns in its first line"));
    }
    for (at, name) in columns.iter().enumerate() {
        if !name.is_empty() && columns.iter().take(at).any(|other| other == name) {
            return Err(fault(
                Some(1),
                format!("two columns are called `{name}`"),
                "name each column otherwise",
            ));
        }
    }
    Ok(Sheet { columns, lines, comma: mark == b';' })
}
