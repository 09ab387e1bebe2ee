//! Rows turned into the texts of records, and what stands in the way.

use super::{ImportKind, Line, Mapping, Sheet, Target};
use crate::ledger::{Ledger, NoRecall, read_specimens};
use crate::record::edit::one_line;
use crate::record::{self, Fault, Level, RecordKind, is_id};
use crate::source::Snapshot;
use serde_yaml::{Mapping as Map, Value};
use std::collections::{BTreeMap, BTreeSet};

/// One row that can't become a record.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Refused {
    /// Line in the file.
    pub line: usize,
    /// The column, where it is one.
    pub column: Option<String>,
    /// What is wrong.
    pub message: String,
    /// What mends it.
    pub help: String,
}

/// What a file comes to.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Made {
    /// New files with their text.
    pub files: BTreeMap<String, String>,
    /// Records that are there already and stay as they are.
    pub kept: Vec<String>,
    /// Rows that can't become records, by line.
    pub refused: Vec<Refused>,
}

/// One record in the making.
struct Draft {
    id: String,
    value: Map,
    lines: Vec<usize>,
    /// Which column each route comes from, and in which line.
    from: BTreeMap<String, (String, usize)>,
}

/// More parts than any key of a record has, and few enough to go down one by one.
const DEEPEST: usize = 8;

/// Makes records of all rows; those that the ledger would refuse are named and left out.
pub fn made(sheet: &Sheet, mapping: &Mapping, ledger: &Ledger, snapshot: &Snapshot) -> Made {
    let refused = too_deep(mapping);
    if !refused.is_empty() {
        return Made { refused, ..Made::default() };
    }
    match mapping.kind {
        ImportKind::Specimens => specimens(sheet, mapping, ledger, snapshot),
        ImportKind::Materials => records(sheet, mapping, RecordKind::Material, ledger, snapshot),
        ImportKind::Panels => records(sheet, mapping, RecordKind::Panel, ledger, snapshot),
    }
}

fn refuse(line: usize, column: Option<&str>, message: impl Into<String>, help: impl Into<String>) -> Refused {
    Refused { line, column: column.map(str::to_string), message: message.into(), help: help.into() }
}

/// Keys of a mapping that no record can have.
fn too_deep(mapping: &Mapping) -> Vec<Refused> {
    let columns = mapping.columns.iter().map(|(name, target)| (Some(name.as_str()), &target.to));
    let all = columns.chain(mapping.set.keys().map(|key| (None, key)));
    all.filter(|(_, key)| key.matches('.').count() >= DEEPEST)
        .map(|(column, key)| {
            let begin: String = key.chars().take(40).collect();
            let message = format!("the key `{begin}…` has more than {DEEPEST} parts");
            refuse(1, column, message, "name a key of the record, such as `fibre.areal`")
        })
        .collect()
}

/// The columns that go somewhere, with their targets.
fn used<'a>(sheet: &'a Sheet, mapping: &'a Mapping) -> Vec<(usize, &'a str, &'a Target)> {
    let target = |(at, name): (usize, &'a String)| {
        let target = mapping.columns.get(name).filter(|target| !target.to.is_empty())?;
        Some((at, name.as_str(), target))
    };
    sheet.columns.iter().enumerate().filter_map(target).collect()
}

/// A cell as a record has it: a bare number with its column's unit behind.
fn cell_text(cell: &str, unit: &str, comma: bool) -> String {
    let number = if comma && !cell.contains('.') { cell.replacen(',', ".", 1) } else { cell.to_string() };
    if number.parse::<f64>().is_err() {
        return cell.to_string();
    }
    if unit.is_empty() { number } else { format!("{number} {unit}") }
}

/// Keys whose values are words, whatever they look like.
const WORDS: [&str; 12] = [
    "id",
    "title",
    "notes",
    "supplier",
    "owner",
    "group",
    "batch",
    "panel",
    "specimen",
    "mode",
    "condition",
    "zone.name",
];

/// Cells that are one number with a decimal point and a thousand times that with a point between thousands, which
/// both stand in files with decimal commas: `1.234`. A column is taken at its word where another of its numbers has
/// a point that parts no thousands, and none a comma.
fn doubtful(sheet: &Sheet, columns: &[(usize, &str, &Target)]) -> Vec<Refused> {
    if !sheet.comma {
        return Vec::new();
    }
    let is_number = |text: &str| text.parse::<f64>().is_ok();
    let thousands = |cell: &str| {
        let parts = cell.trim_start_matches(['+', '-']).split_once('.');
        parts.is_some_and(|(before, behind)| {
            matches!(before.len(), 1..=3) && !before.starts_with('0') && behind.len() == 3 && is_number(cell)
        })
    };
    let mut all = Vec::new();
    for (at, column, _) in columns.iter().filter(|(_, _, target)| !WORDS.contains(&target.to.as_str())) {
        let cells = || sheet.lines.iter().filter_map(|line| Some((line.line, line.cells.get(*at)?.as_str())));
        let point = cells().any(|(_, cell)| cell.contains('.') && is_number(cell) && !thousands(cell));
        let comma = cells()
            .any(|(_, cell)| cell.contains(',') && is_number(&cell.replace('.', "").replacen(',', ".", 1)));
        if point && !comma {
            continue;
        }
        for (line, cell) in cells().filter(|(_, cell)| thousands(cell)) {
            let (decimal, whole) = (cell.replacen('.', ",", 1), cell.replacen('.', "", 1));
            let help = format!(
                "write `{decimal}` or `{whole}`: with semicolons between columns a point may part thousands"
            );
            all.push(refuse(line, Some(column), format!("`{cell}` is {decimal} or {whole}"), help));
        }
    }
    all
}

fn value_of(text: &str) -> Value {
    match text {
        "yes" | "true" | "TRUE" => Value::Bool(true),
        "no" | "false" | "FALSE" => Value::Bool(false),
        _ => match text.parse::<u64>() {
            Ok(number) if number.to_string() == text => Value::Number(number.into()),
            _ => Value::String(text.to_string()),
        },
    }
}

/// An id made of a name: small letters, digits and `-`.
fn id_of(name: &str) -> String {
    let plain = |c: char| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' };
    let text: String = name.trim().chars().map(plain).collect();
    text.split('-').filter(|part| !part.is_empty()).collect::<Vec<_>>().join("-")
}

fn put(map: &mut Map, route: &str, value: Value) {
    match route.split_once('.') {
        None => {
            map.insert(Value::String(route.to_string()), value);
        }
        Some((first, rest)) => {
            let inner =
                map.entry(Value::String(first.to_string())).or_insert_with(|| Value::Mapping(Map::new()));
            if let Some(inner) = inner.as_mapping_mut() {
                put(inner, rest, value);
            }
        }
    }
}

fn records(sheet: &Sheet, mapping: &Mapping, kind: RecordKind, ledger: &Ledger, snapshot: &Snapshot) -> Made {
    let mut made = Made::default();
    let columns = used(sheet, mapping);
    let Some((id_at, id_column, _)) = columns.iter().find(|(_, _, target)| target.to == "id") else {
        made.refused.push(refuse(1, None, "no column gives the id", "map one with `{to: id}`"));
        return made;
    };
    made.refused = doubtful(sheet, &columns);
    let doubts: BTreeSet<usize> = made.refused.iter().map(|own| own.line).collect();
    // A panel without one of its rows would be another panel.
    let mut left_out: BTreeSet<String> = BTreeSet::new();
    let mut drafts: Vec<Draft> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for line in &sheet.lines {
        let name = line.cells.get(*id_at).map_or("", String::as_str);
        let id = id_of(name);
        if !is_id(&id) {
            made.refused.push(refuse(
                line.line,
                Some(id_column),
                format!("`{name}` gives no id"),
                "write a name with letters or digits: ids are lower-case letters, digits and `-`",
            ));
            continue;
        }
        if doubts.contains(&line.line) {
            left_out.insert(id.clone());
        }
        match places.get(&id).and_then(|at| drafts.get_mut(*at)) {
            Some(draft) if kind == RecordKind::Panel && has_zone(line, &columns) => {
                add_zone(draft, sheet, line, &columns);
            }
            Some(draft) => {
                let first = draft.lines.first().copied().unwrap_or(1);
                made.refused.push(refuse(
                    line.line,
                    Some(id_column),
                    format!("`{id}` stands in line {first} already"),
                    "give each record one row, or rows of a panel a zone each",
                ));
            }
            None => {
                places.insert(id.clone(), drafts.len());
                drafts.push(draft(id, sheet, line, &columns, mapping, kind));
            }
        }
    }
    drafts.retain(|draft| !left_out.contains(&draft.id));
    let there = |id: &str| {
        let file = format!("{}/{id}.yaml", kind.folder());
        snapshot.entry(&file).is_some() || ledger.file_of(&crate::record::Address::new(kind, id)).is_some()
    };
    let (kept, mut drafts): (Vec<Draft>, Vec<Draft>) = drafts.into_iter().partition(|draft| there(&draft.id));
    made.kept = kept.into_iter().map(|draft| format!("{kind}/{}", draft.id)).collect();
    // What one row lacks may break another; each turn leaves fewer.
    loop {
        let texts: BTreeMap<String, String> =
            drafts.iter().filter_map(|draft| Some((file(kind, draft), text(draft)?))).collect();
        let faults = errors(snapshot, &texts);
        let by_file: BTreeMap<String, &Draft> =
            drafts.iter().map(|draft| (file(kind, draft), draft)).collect();
        let mut bad: BTreeSet<String> = BTreeSet::new();
        for fault in &faults {
            let Some(draft) = by_file.get(&fault.place.file) else { continue };
            let at = texts.get(&fault.place.file).and_then(|text| behind(draft, text, fault));
            let first = draft.lines.first().copied().unwrap_or(1);
            let (column, line) = at.map_or((None, first), |(column, line)| (Some(column), line));
            let help = fault.help.clone().unwrap_or_default();
            made.refused.push(refuse(
                line,
                column.as_deref(),
                format!("{} ({})", fault.message, fault.rule),
                help,
            ));
            bad.insert(draft.id.clone());
        }
        if bad.is_empty() {
            made.files = texts;
            break;
        }
        drafts.retain(|draft| !bad.contains(&draft.id));
    }
    made.refused.sort();
    made.refused.dedup();
    made
}

fn file(kind: RecordKind, draft: &Draft) -> String {
    format!("{}/{}.yaml", kind.folder(), draft.id)
}

fn has_zone(line: &Line, columns: &[(usize, &str, &Target)]) -> bool {
    columns.iter().any(|(at, _, own)| {
        own.to.starts_with("zone.") && line.cells.get(*at).is_some_and(|own| !own.is_empty())
    })
}

fn draft(
    id: String,
    sheet: &Sheet,
    line: &Line,
    columns: &[(usize, &str, &Target)],
    mapping: &Mapping,
    kind: RecordKind,
) -> Draft {
    let mut own = Draft { id, value: Map::new(), lines: vec![line.line], from: BTreeMap::new() };
    for (key, value) in &mapping.set {
        put(&mut own.value, key, value.clone());
    }
    for (at, column, target) in columns {
        let cell = line.cells.get(*at).map_or("", String::as_str);
        if cell.is_empty() || target.to.starts_with("zone.") {
            continue;
        }
        if target.to == "id" {
            // A name that is no id as it stands is kept for people.
            if cell != own.id && !own.value.contains_key("title") {
                put(&mut own.value, "title", Value::String(cell.to_string()));
            }
            continue;
        }
        put(&mut own.value, &target.to, value_of(&cell_text(cell, &target.unit, sheet.comma)));
        own.from.insert(target.to.clone(), ((*column).to_string(), line.line));
    }
    if kind == RecordKind::Panel && has_zone(line, columns) {
        add_zone(&mut own, sheet, line, columns);
    }
    own
}

fn add_zone(draft: &mut Draft, sheet: &Sheet, line: &Line, columns: &[(usize, &str, &Target)]) {
    let mut zone = Map::new();
    let zones =
        draft.value.entry(Value::String("zones".to_string())).or_insert_with(|| Value::Sequence(Vec::new()));
    let Some(zones) = zones.as_sequence_mut() else { return };
    let number = zones.len() + 1;
    for (at, column, target) in columns {
        let Some(key) = target.to.strip_prefix("zone.") else { continue };
        let cell = line.cells.get(*at).map_or("", String::as_str);
        if cell.is_empty() {
            continue;
        }
        put(&mut zone, key, value_of(&cell_text(cell, &target.unit, sheet.comma)));
        draft.from.insert(format!("zones.{number}.{key}"), ((*column).to_string(), line.line));
    }
    if !zone.contains_key("name") {
        zone.insert(Value::String("name".to_string()), Value::String(format!("zone {number}")));
    }
    zones.push(Value::Mapping(zone));
    draft.lines.push(line.line);
}

fn text(draft: &Draft) -> Option<String> {
    let mut text = String::new();
    for (key, value) in &draft.value {
        let key = key.as_str()?;
        match value {
            Value::Sequence(all) if all.iter().any(Value::is_mapping) => {
                text.push_str(&format!("{key}:\n"));
                for item in all {
                    text.push_str(&format!("  - {}\n", one_line(item)?));
                }
            }
            _ => text.push_str(&format!("{key}: {}\n", one_line(value)?)),
        }
    }
    // A record of nothing would be an empty file, whose fault has no key to point at.
    Some(if text.is_empty() { "{}\n".to_string() } else { text })
}

/// The errors in new files, with the whole ledger read beside them.
fn errors(snapshot: &Snapshot, texts: &BTreeMap<String, String>) -> Vec<Fault> {
    let edits = texts.iter().map(|(file, text)| (file.clone(), Some(text.clone().into_bytes()))).collect();
    let ledger = Ledger::load(&snapshot.overlay(edits), &NoRecall);
    let own = |fault: &Fault| fault.level == Level::Error && texts.contains_key(&fault.place.file);
    ledger.faults.into_iter().filter(own).collect()
}

/// The column and line that a fault of a made text comes from.
fn behind(draft: &Draft, text: &str, fault: &Fault) -> Option<(String, usize)> {
    let index = record::places(text);
    let (from, to) = fault.place.span?;
    let covers = |route: &str| {
        let value = index.find(route)?;
        let key = index.find_key(route).unwrap_or(value);
        (from < value.end.max(value.start + 1) && to >= key.start).then_some(value.end - value.start)
    };
    // The narrowest that it stands in: a zone holds its area.
    let found = draft.from.iter().filter_map(|(route, place)| Some((covers(route)?, place)));
    found.min_by_key(|(wide, _)| *wide).map(|(_, place)| place.clone())
}

fn specimens(sheet: &Sheet, mapping: &Mapping, ledger: &Ledger, snapshot: &Snapshot) -> Made {
    let mut made = Made::default();
    let id = mapping.set.get("id").and_then(Value::as_str).map(id_of).unwrap_or_default();
    if !is_id(&id) {
        let help = "write `--set id=e-100 --set showing=ID --set 'subject={lamina: [ID, ID]}'`";
        made.refused.push(refuse(1, None, "no evidence is named that the specimens belong to", help));
        return made;
    }
    let (record, data) = (format!("evidence/{id}.yaml"), format!("evidence/data/{id}.csv"));
    let address = crate::record::Address::new(RecordKind::Evidence, id.clone());
    if snapshot.entry(&record).is_some()
        || snapshot.entry(&data).is_some()
        || ledger.file_of(&address).is_some()
    {
        made.kept.push(format!("evidence/{id}"));
        return made;
    }
    let columns = used(sheet, mapping);
    made.refused = doubtful(sheet, &columns);
    if !made.refused.is_empty() {
        made.refused.sort();
        return made;
    }
    let mut writer = csv::Writer::from_writer(Vec::new());
    let head = |target: &Target| {
        if target.unit.is_empty() { target.to.clone() } else { format!("{} [{}]", target.to, target.unit) }
    };
    // Memory takes every byte.
    let _ = writer.write_record(columns.iter().map(|(_, _, target)| head(target)));
    for line in &sheet.lines {
        let cell = |at: &usize| line.cells.get(*at).map_or("", String::as_str);
        let _ = writer.write_record(columns.iter().map(|(at, _, _)| cell_text(cell(at), "", sheet.comma)));
    }
    let bytes = writer.into_inner().unwrap_or_default();
    if let Err(faults) = read_specimens(&data, &bytes) {
        for fault in faults {
            // One line here for one row there, the head before them.
            let row =
                fault.place.line.and_then(|line| line.checked_sub(2)).and_then(|at| sheet.lines.get(at));
            let line = row.map_or(1, |row| row.line);
            // What is wrong with a cell quotes it.
            let quoted = |(at, _, _): &&(usize, &str, &Target)| {
                let cell = row.and_then(|row| row.cells.get(*at)).filter(|cell| !cell.is_empty());
                cell.is_some_and(|cell| fault.message.contains(&format!("`{cell}`")))
            };
            let column = columns.iter().find(quoted).map(|(_, column, _)| *column);
            made.refused.push(refuse(
                line,
                column,
                format!("{} ({})", fault.message, fault.rule),
                fault.help.unwrap_or_default(),
            ));
        }
        return made;
    }
    let mut own = Draft { id: id.clone(), value: Map::new(), lines: vec![1], from: BTreeMap::new() };
    for (key, value) in [("kind", "test"), ("state", "running")] {
        put(&mut own.value, key, Value::String(value.to_string()));
    }
    for (key, value) in mapping.set.iter().filter(|(key, _)| *key != "id") {
        put(&mut own.value, key, value.clone());
    }
    put(&mut own.value, "data", Value::String(format!("data/{id}.csv")));
    let mut texts = BTreeMap::from([(data, String::from_utf8_lossy(&bytes).into_owned())]);
    texts.extend(text(&own).map(|text| (record, text)));
    let faults = errors(snapshot, &texts);
    for fault in faults {
        let row = fault.place.line.filter(|_| fault.place.file.ends_with(".csv"));
        let line = row
            .and_then(|line| line.checked_sub(2))
            .and_then(|at| sheet.lines.get(at))
            .map_or(1, |row| row.line);
        let help = fault.help.unwrap_or_default();
        made.refused.push(refuse(line, None, format!("{} ({})", fault.message, fault.rule), help));
    }
    if made.refused.is_empty() {
        made.files = texts;
    }
    made
}
