//! What the bench calculator worked out, as text and JSON.

use super::page::{Frame, Page};
use super::table::{Align, Table};
use crate::calc::{Answer, Outcome, Step, TOPICS, TopicEntry, figure};
use crate::quantity::Quantity;
use serde_json::{Value, json};

/// Returns the answer as a document of schema `calc/1`.
pub fn json(answer: &Answer) -> Value {
    let step = |step: &Step| {
        json!({
            "symbol": step.symbol,
            "formula": step.formula,
            "value": step.value,
            "unit": step.unit,
            "text": step.text,
        })
    };
    json!({
        "schema": "calc/1",
        "topic": answer.topic,
        "inputs": answer.inputs,
        "steps": answer.work.steps.iter().map(step).collect::<Vec<_>>(),
        "results": answer.work.document(),
        "notes": answer.work.notes,
        "source": answer.source,
        "caution": answer.caution,
    })
}

/// Returns the answer for people.
pub fn text(answer: &Answer, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.heading(&capital(answer.about));
    page.gap();
    page.heading("Read");
    let mut table = Table::new([("input", Align::Left), ("as written", Align::Left), ("in SI", Align::Left)]);
    for leaf in &answer.read {
        table.row([
            leaf.route.clone(),
            leaf.text.clone(),
            leaf.quantity.as_ref().map_or_else(String::new, in_si),
        ]);
    }
    page.table(&table);
    page.gap();
    page.heading("Steps");
    for step in &answer.work.steps {
        page.hang("  ", "      ", &format!("{} = {}", step.symbol, step.formula));
        let value = with_unit(&figure(step.value), step.unit);
        let reckoned = !step.text.starts_with('[');
        let line =
            if reckoned { format!("= {} = {value}", step.text) } else { format!("= {value} {}", step.text) };
        page.hang("      ", "        ", &line);
    }
    page.gap();
    page.heading("Result");
    let widest = answer.work.results.iter().map(|one| one.name.chars().count()).max().unwrap_or(0);
    for one in &answer.work.results {
        result(&mut page, one, widest);
    }
    page.gap();
    for note in &answer.work.notes {
        page.hang("- ", "  ", note);
    }
    page.gap();
    page.hang("Source: ", "  ", answer.source);
    page.gap();
    page.paragraph(&answer.caution);
    page.finish()
}

fn result(page: &mut Page<'_>, one: &Outcome, widest: usize) {
    let name = format!("  {:<widest$}  ", one.name);
    match &one.value {
        Value::Array(rows) if rows.first().is_some_and(Value::is_object) => {
            page.line(name.trim_end());
            page.table(&table(rows));
        }
        Value::Array(rows) if rows.first().is_some_and(Value::is_array) => {
            let unit = if one.unit.is_empty() { String::new() } else { format!("  [{}]", one.unit) };
            page.line(&format!("{}{unit}", name.trim_end()));
            let rows: Vec<Vec<String>> =
                rows.iter().map(|row| row.as_array().into_iter().flatten().map(cell).collect()).collect();
            let width = rows.iter().flatten().map(|cell| cell.chars().count()).max().unwrap_or(0);
            for row in rows {
                let row: Vec<String> = row.iter().map(|cell| format!("{cell:>width$}")).collect();
                page.line(&format!("    {}", row.join("  ")));
            }
        }
        Value::Array(numbers) => {
            let all = numbers.iter().map(cell).collect::<Vec<_>>().join(", ");
            page.hang(&name, "    ", &with_unit(&all, one.unit));
        }
        value => page.hang(&name, "    ", &with_unit(&cell(value), one.unit)),
    }
}

/// Rows with the same keys as a table; words to the left, numbers to the right.
fn table(rows: &[Value]) -> Table {
    let keys: Vec<(&String, &Value)> =
        rows.first().and_then(Value::as_object).into_iter().flatten().collect();
    let mut table = Table::new(
        keys.iter()
            .map(|(key, value)| (key.as_str(), if value.is_number() { Align::Right } else { Align::Left })),
    );
    for row in rows {
        table.row(keys.iter().map(|(key, _)| row.get(key.as_str()).map(cell).unwrap_or_default()));
    }
    table
}

fn cell(value: &Value) -> String {
    match value {
        Value::Bool(true) => "yes".to_string(),
        Value::Bool(false) => "no".to_string(),
        Value::String(words) => words.clone(),
        Value::Number(number) if number.is_f64() => figure(number.as_f64().unwrap_or_default()),
        other => other.to_string(),
    }
}

fn with_unit(value: &str, unit: &str) -> String {
    if unit.is_empty() { value.to_string() } else { format!("{value} {unit}") }
}

fn in_si(quantity: &Quantity) -> String {
    let unit = quantity.kind().si_unit();
    with_unit(&figure(quantity.si()), if unit == "1" { "" } else { unit })
}

fn capital(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// Returns all topics as a document of schema `calc-topics/1`.
pub fn list_json() -> Value {
    let one = |topic: &TopicEntry| json!({ "topic": topic.name, "about": topic.about });
    json!({ "schema": "calc-topics/1", "topics": TOPICS.iter().map(one).collect::<Vec<_>>() })
}

/// Returns all topics for people.
pub fn list_text(frame: &Frame) -> String {
    let mut page = Page::new(frame);
    let widest = TOPICS.iter().map(|topic| topic.name.chars().count()).max().unwrap_or(0);
    let blanks = " ".repeat(widest + 2);
    for topic in TOPICS {
        page.hang(&format!("{:<widest$}  ", topic.name), &blanks, topic.about);
    }
    page.gap();
    page.paragraph(
        "`bondline calc TOPIC --sample > one.yaml` writes an input to start from, `bondline calc TOPIC one.yaml` works it out.",
    );
    page.finish()
}

/// Returns what a topic takes as a document of schema `calc-topic/1`.
pub fn help_json(topic: &TopicEntry) -> Value {
    let keys: Vec<Value> = topic
        .keys()
        .into_iter()
        .map(|(key, told)| {
            json!({ "key": key.key, "needed": key.needed, "expects": key.expects, "means": told })
        })
        .collect();
    json!({
        "schema": "calc-topic/1",
        "topic": topic.name,
        "about": topic.about,
        "keys": keys,
        "sample": topic.sample,
        "source": topic.source,
    })
}

/// Returns what a topic takes for people, with a sample.
pub fn help_text(topic: &TopicEntry, frame: &Frame) -> String {
    let mut page = Page::new(frame);
    page.heading(&capital(topic.about));
    page.gap();
    page.heading("Takes");
    for (key, told) in topic.keys() {
        let needed = if key.needed { "" } else { " (if wanted)" };
        page.hang("  ", "      ", &format!("{}: {}{needed}. {told}", key.key, key.expects));
    }
    page.gap();
    page.heading(&format!("Sample, as `bondline calc {} --sample` prints it", topic.name));
    for line in topic.sample.lines() {
        page.line(&format!("  {line}"));
    }
    page.gap();
    page.hang("Source: ", "  ", topic.source);
    page.finish()
}
