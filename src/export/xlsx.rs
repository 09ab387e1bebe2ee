//! The tables as a workbook: a sheet a table, what can be worked out again as formulas.

use super::{Cell, Column, Contents, ExportError, FORM, Follows, TABLES, Table, Type};
use crate::report::head::CAUTION_LINE;
use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Formula, Workbook, Worksheet, XlsxError};
use std::io::{Read, Seek};
use std::path::Path;

/// The longest text that a cell holds (ECMA-376 part 1 leaves it open; 32 767 by the applications' own limits).
const LONGEST: usize = 32_767;
/// What the workbook says of itself, by which it is known again.
const MARK: &str = "bondline export/";

/// Returns the workbook's bytes.
///
/// # Errors
/// [`ExportError`] where a table has more rows than a sheet.
pub fn workbook(contents: &Contents, path: &Path) -> Result<Vec<u8>, ExportError> {
    written(contents).map_err(|error| ExportError::new(path, error))
}

fn written(contents: &Contents) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    // A day of its own would make the same ledger give other bytes each time.
    let made = ExcelDateTime::from_ymd(2000, 1, 1)?;
    book.set_properties(
        &DocProperties::new().set_creation_datetime(&made).set_comment(format!("{MARK}{FORM}")),
    );
    let bold = Format::new().set_bold();
    let about = book.add_worksheet();
    about.set_name("about")?;
    write_about(about, &bold)?;
    for (table, rows) in TABLES.iter().zip(&contents.rows) {
        let sheet = book.add_worksheet();
        sheet.set_name(table.name)?;
        write_table(sheet, table, rows, contents, &bold)?;
    }
    book.save_to_buffer()
}

fn write_about(sheet: &mut Worksheet, bold: &Format) -> Result<(), XlsxError> {
    sheet.write_string(0, 0, CAUTION_LINE)?;
    for (at, word) in (0..).zip(["table", "column", "unit", "type", "meaning"]) {
        sheet.write_string_with_format(2, at, word, bold)?;
    }
    let mut row = 3;
    for table in TABLES {
        sheet.write_string(row, 0, table.name)?;
        sheet.write_string(row, 4, table.meaning)?;
        row += 1;
        for column in table.columns {
            let cells =
                [table.name, &column.name.replace('_', " "), column.unit, column.kind.word(), column.meaning];
            for (at, word) in (0..).zip(cells) {
                sheet.write_string(row, at, word)?;
            }
            row += 1;
        }
    }
    sheet.set_freeze_panes(3, 0)?;
    for (at, width) in [(0, 15), (1, 18), (2, 9), (3, 13), (4, 80)] {
        sheet.set_column_width(at, width)?;
    }
    Ok(())
}

fn write_table(
    sheet: &mut Worksheet,
    table: &Table,
    rows: &[Vec<Cell>],
    contents: &Contents,
    bold: &Format,
) -> Result<(), XlsxError> {
    let columns: Vec<(u16, &Column)> = (0..).zip(table.columns).collect();
    for (at, column) in &columns {
        sheet.write_string_with_format(0, *at, column.heading(), bold)?;
        sheet.set_column_width(*at, if column.kind == Type::Text { 24 } else { 14 })?;
    }
    for (line, row) in (1..).zip(rows) {
        for ((at, column), cell) in columns.iter().zip(row) {
            match (column.follows, cell.as_number()) {
                (Some(follows), Some(value)) => {
                    let formula = formula(table, follows, line, contents);
                    sheet.write_formula(line, *at, Formula::new(formula).set_result(number(value)))?;
                }
                _ => write_cell(sheet, (line, *at), cell)?,
            }
        }
    }
    let last = u32::try_from(rows.len()).unwrap_or(u32::MAX);
    let width = u16::try_from(table.columns.len().saturating_sub(1)).unwrap_or(u16::MAX);
    sheet.set_freeze_panes(1, 1)?;
    sheet.autofilter(0, 0, last.max(1), width)?;
    // Below the filter, with a line between, so that sorting leaves them where they are.
    let below = last + 2;
    let mut said = false;
    for (place, (at, _)) in columns.iter().enumerate().filter(|(_, (_, column))| column.total && last > 0) {
        if !said && *at > 0 {
            sheet.write_string_with_format(below, 0, "total", bold)?;
            said = true;
        }
        let sum = total(rows, place);
        let range = range(*at, 2, last + 1);
        let own = Formula::new(format!("=SUM({range})")).set_result(number(sum));
        sheet.write_formula_with_format(below, *at, own, bold)?;
    }
    Ok(())
}

fn total(rows: &[Vec<Cell>], place: usize) -> f64 {
    rows.iter().filter_map(|row| row.get(place)?.as_number()).sum()
}

fn number(value: f64) -> String {
    value.to_string()
}

fn write_cell(sheet: &mut Worksheet, (line, at): (u32, u16), cell: &Cell) -> Result<(), XlsxError> {
    match cell {
        Cell::None => {}
        Cell::Text(text) => {
            let cut: String = text.chars().take(LONGEST).collect();
            let shown = if cut.len() < text.len() {
                format!("{}…", cut.chars().take(LONGEST - 1).collect::<String>())
            } else {
                cut
            };
            sheet.write_string(line, at, shown)?;
        }
        Cell::Number(value) => {
            sheet.write_number(line, at, *value)?;
        }
        Cell::Whole(value) => {
            sheet.write_number(line, at, *value as f64)?;
        }
        Cell::Truth(value) => {
            sheet.write_boolean(line, at, *value)?;
        }
    }
    Ok(())
}

/// The formula of a cell in the row below `line`, rows counted from 1.
fn formula(table: &Table, follows: Follows, line: u32, contents: &Contents) -> String {
    let cell = |name: &str| {
        let place = table.place(name).and_then(|at| u16::try_from(at).ok()).unwrap_or_default();
        format!("{}{}", letters(place), line + 1)
    };
    match follows {
        Follows::Product(one, two) => format!("={}*{}", cell(one), cell(two)),
        Follows::Difference(one, two) => format!("={}-{}", cell(one), cell(two)),
        Follows::Totals(all) => {
            let sum = |(name, column): &(&str, &str)| {
                let other = TABLES.iter().find(|own| own.name == *name);
                let place = other.and_then(|own| own.place(column)).and_then(|at| u16::try_from(at).ok());
                let last = contents.of(name).len().max(1) + 1;
                let last = u32::try_from(last).unwrap_or(u32::MAX);
                format!("SUM({name}!{})", range(place.unwrap_or_default(), 2, last))
            };
            format!("={}", all.iter().map(sum).collect::<Vec<_>>().join("+"))
        }
    }
}

fn range(column: u16, from: u32, to: u32) -> String {
    let letters = letters(column);
    format!("{letters}{from}:{letters}{to}")
}

/// Letters of a column from 0: A to Z, then AA.
fn letters(mut column: u16) -> String {
    let mut all = Vec::new();
    loop {
        all.push(char::from(b'A' + u8::try_from(column % 26).unwrap_or_default()));
        if column < 26 {
            return all.into_iter().rev().collect();
        }
        column = column / 26 - 1;
    }
}

/// Returns whether a file is such a workbook.
pub fn is_export(file: impl Read + Seek) -> bool {
    let Ok(mut archive) = zip::ZipArchive::new(file) else { return false };
    let Ok(part) = archive.by_name("docProps/core.xml") else { return false };
    let mut text = String::new();
    part.take(1 << 16).read_to_string(&mut text).is_ok() && text.contains(MARK)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_have_their_letters() {
        assert_eq!(
            ["A", "Z", "AA", "AZ", "BA"],
            [0, 25, 26, 51, 52].map(letters).map(|own| own).each_ref().map(String::as_str)
        );
    }
}
