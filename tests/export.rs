//! Exports: the description is current, all forms say the same, what was not ours is left alone. The forms are read
//! by other programs (`tests/outside/tables.py`, a server of PostgreSQL).

mod postgres;

use crate::outside::python;
use crate::support::{Bench, root};
use bondline::export::{Cell, Contents, Follows, TABLES, Type};
use serde_json::Value;
use std::fs;
use std::path::Path;
use std::process::Command;

#[test]
fn the_description_is_what_the_list_says() {
    let path = root().join("schema/export.md");
    let text = bondline::export::markdown();
    if std::env::var_os("UPDATE_GOLDEN").is_some() {
        fs::write(&path, &text).unwrap();
    }
    let kept = fs::read_to_string(&path).unwrap_or_default();
    assert!(kept == text, "schema/export.md is stale; UPDATE_GOLDEN=1 writes it");
}

/// What the script reads of a file.
fn read(way: &str, path: &Path) -> Value {
    let script = root().join("tests/outside/tables.py");
    let output =
        Command::new(python()).arg(script).arg(way).arg(path).output().expect("tests/run installs it");
    assert!(output.status.success(), "{way}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

/// The document, from which the expectations are: each table as rows of values in the order of columns.
fn tables(bench: &Bench) -> Vec<Vec<Vec<Value>>> {
    let answer = bench.run(&["export", "json"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let document = answer.json();
    assert_eq!(document["schema"], "export/1");
    assert!(document["caution"].as_str().unwrap().contains("not approved data"));
    TABLES
        .iter()
        .map(|table| {
            let rows = document["tables"][table.name].as_array().unwrap();
            let row = |row: &Value| {
                let map = row.as_object().unwrap();
                assert_eq!(map.len(), table.columns.len());
                table.columns.iter().map(|column| map[&column.key()].clone()).collect::<Vec<_>>()
            };
            rows.iter().map(row).collect()
        })
        .collect()
}

fn column(table: &str, name: &str) -> (usize, usize) {
    let at = TABLES.iter().position(|own| own.name == table).unwrap();
    (at, TABLES[at].place(name).unwrap())
}

#[test]
fn the_document_agrees_with_what_commands_say() {
    let bench = Bench::example();
    let all = tables(&bench);
    let sum = |table: &str, name: &str| -> f64 {
        let (table, at) = column(table, name);
        all[table].iter().filter_map(|row| row[at].as_f64()).sum()
    };
    let close = |one: f64, two: f64| assert!((one - two).abs() < 1e-9 * one.abs().max(1.0), "{one} {two}");
    let mass = bench.run(&["mass", "--format", "json"]).json();
    close(sum("programme", "mass"), mass["total"]["kg"].as_f64().unwrap());
    close(sum("panels", "mass") + sum("parts", "mass"), sum("programme", "mass"));
    // What one panel is made of is what it weighs.
    let (panels, contributions) = (column("panels", "panel").0, column("contributions", "panel").0);
    for panel in &all[panels] {
        let own = all[contributions].iter().filter(|row| row[0] == panel[0]);
        close(
            own.map(|row| row[4].as_f64().unwrap()).sum(),
            panel[column("panels", "each").1].as_f64().unwrap(),
        );
    }
    // Duties by verdict, counted by the gravest of their panels, are those of gaps.
    let gaps = bench.run(&["gaps", "--all", "--format", "json"]).json();
    let (duties, subject) = column("duties", "subject");
    let mut names: Vec<(&Value, &Value)> = all[duties].iter().map(|row| (&row[1], &row[subject])).collect();
    names.dedup();
    assert_eq!(names.len(), gaps["duties"].as_array().unwrap().len());
    // Every margin of a panel, and its cost, as `panel` has them.
    let panel = bench.run(&["panel", "bow-hatch", "--all", "--format", "json"]).json();
    let margins = column("margins", "panel").0;
    let own = all[margins].iter().filter(|row| row[0] == "bow-hatch").count();
    assert_eq!(own, panel["margins"].as_array().unwrap().len());
    let (costs, cost) = column("costs", "cost");
    let own = all[costs].iter().filter(|row| row[0] == "bow-hatch");
    close(own.map(|row| row[cost].as_f64().unwrap()).sum(), panel["cost"]["cost"].as_f64().unwrap());
    for (table, rows) in TABLES.iter().zip(&all) {
        // The example's assemblies list no parts, and all of it has a price.
        assert!(
            !rows.is_empty() || ["parts", "unpriced"].contains(&table.name),
            "{} is empty in the example",
            table.name
        );
    }
}

#[test]
fn cells_are_what_their_columns_say() {
    let bench = Bench::example();
    for (table, rows) in TABLES.iter().zip(tables(&bench)) {
        let mut keys: Vec<Vec<String>> = Vec::new();
        for row in rows {
            for (own, cell) in table.columns.iter().zip(&row) {
                let fits = match own.kind {
                    Type::Text => cell.is_string(),
                    Type::Day => {
                        cell.as_str().is_some_and(|day| day.len() == 10 && day.as_bytes()[4] == b'-')
                    }
                    Type::Number => cell.is_number(),
                    Type::Whole => cell.is_i64() || cell.is_u64(),
                    Type::Truth => cell.is_boolean(),
                };
                assert!(fits || cell.is_null() && !own.always, "{}.{}: {cell}", table.name, own.name);
            }
            keys.push(table.key.iter().map(|name| row[table.place(name).unwrap()].to_string()).collect());
        }
        let all = keys.len();
        keys.sort();
        keys.dedup();
        assert_eq!(keys.len(), all, "two rows of {} have one key", table.name);
    }
}

#[test]
fn a_database_has_the_same_rows_and_sound_keys() {
    let bench = Bench::example();
    let all = tables(&bench);
    let answer = bench.run(&["export", "sqlite", "--out", "../out.sqlite"]);
    assert_eq!((answer.code, answer.err.as_str()), (0, ""), "{}", answer.out);
    let read = read("sqlite", &bench.ledger().join("../out.sqlite"));
    assert_eq!((&read["version"], &read["integrity"]), (&1.into(), &"ok".into()));
    assert_eq!(read["broken_keys"].as_array().unwrap().len(), 0, "{}", read["broken_keys"]);
    for (table, rows) in TABLES.iter().zip(&all) {
        let names: Vec<String> = table.columns.iter().map(|own| own.key()).collect();
        assert_eq!(read["columns"][table.name], serde_json::json!(names));
        assert!(read["strict"].as_array().unwrap().contains(&table.name.into()), "{}", table.name);
        let foreign = table.columns.iter().filter(|own| own.names.is_some()).count();
        assert_eq!(read["foreign"][table.name], foreign, "{}", table.name);
        let kept = read["rows"][table.name].as_array().unwrap();
        assert_eq!(kept.len(), rows.len(), "{}", table.name);
        for (kept, row) in kept.iter().zip(rows) {
            for (kept, cell) in kept.as_array().unwrap().iter().zip(row) {
                let same = match cell {
                    Value::Bool(truth) => kept.as_i64() == Some(i64::from(*truth)),
                    Value::Number(number) => same(&kept.to_string(), number),
                    other => kept == other,
                };
                assert!(same, "{}: {kept} for {cell}", table.name);
            }
        }
    }
}

/// The reader of JSON is off by the last bit of some numbers.
fn same(kept: &str, number: &serde_json::Number) -> bool {
    let (one, two) = (kept.parse::<f64>().unwrap(), number.as_f64().unwrap());
    (one - two).abs() <= two.abs() * 4.0 * f64::EPSILON
}

/// Gives a record another title.
fn titled(bench: &Bench, file: &str, title: &str) {
    let text = bench.read(file);
    let rest: String = text.split_inclusive('\n').filter(|line| !line.starts_with("title:")).collect();
    bench.write(file, &format!("title: {}\n{rest}", serde_json::to_string(title).unwrap()));
}

#[test]
fn files_of_csv_are_read_by_another_reader() {
    let bench = Bench::example();
    let title = "=HYPERLINK(\"http://x\";\"a\")\n\"two\", three";
    let file = "materials/foam-52.yaml";
    titled(&bench, file, title);
    let all = tables(&bench);
    let answer = bench.run(&["export", "csv", "--out", "../tables"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let read = read("csv", &bench.ledger().join("../tables"));
    assert_eq!(read.as_object().unwrap().len(), TABLES.len() + 1);
    let mut guarded = 0;
    for (table, rows) in TABLES.iter().zip(&all) {
        let lines = read[format!("{}.csv", table.name)].as_array().unwrap();
        let heads: Vec<String> = table.columns.iter().map(|own| own.key()).collect();
        assert_eq!(lines[0], serde_json::json!(heads));
        assert_eq!(lines.len() - 1, rows.len());
        for (line, row) in lines[1..].iter().zip(rows) {
            for (kept, cell) in line.as_array().unwrap().iter().map(|own| own.as_str().unwrap()).zip(row) {
                let same = match cell {
                    Value::Null => kept.is_empty(),
                    Value::Bool(truth) => kept == if *truth { "yes" } else { "no" },
                    Value::Number(number) => same(kept, number),
                    other => {
                        let text = other.as_str().unwrap();
                        let odd = text.starts_with(['=', '+', '-', '@', '\t', '\r']);
                        guarded += usize::from(odd);
                        kept == if odd { format!("'{text}") } else { text.to_string() }
                    }
                };
                assert!(same, "{}: {kept:?} for {cell}", table.name);
            }
        }
    }
    assert!(guarded > 0, "no text that looks like a formula was there");
}

/// The cell's name: A1 is column 0, row 1.
fn cell_name(column: usize, row: usize) -> String {
    let letters = match column {
        0..26 => String::from(char::from(b'A' + column as u8)),
        _ => panic!("more columns than letters"),
    };
    format!("{letters}{row}")
}

#[test]
fn a_workbook_has_units_filters_and_formulas() {
    let bench = Bench::example();
    let file = "materials/foam-52.yaml";
    titled(&bench, file, "=1+1");
    let hull = bench.read("assemblies/hull.yaml").replacen(
        "children:\n",
        "children:\n  - {part: balance-weight-a, count: 2}\n",
        1,
    );
    bench.write("assemblies/hull.yaml", &hull);
    let all = tables(&bench);
    assert_eq!(all[column("parts", "mass").0].len(), 1);
    let answer = bench.run(&["export", "xlsx", "--out", "../out.xlsx"]);
    assert_eq!(answer.code, 0, "{}", answer.err);
    let path = bench.ledger().join("../out.xlsx");
    let book = read("xlsx", &path);
    assert_eq!(book.as_object().unwrap().len(), TABLES.len() + 1);
    for (table, rows) in TABLES.iter().zip(&all) {
        let sheet = &book[table.name];
        assert_eq!(sheet["frozen"], serde_json::json!(["frozen", 1]), "{}", table.name);
        let last = cell_name(table.columns.len() - 1, rows.len().max(1) + 1);
        assert_eq!(sheet["filter"], format!("A1:{last}"), "{}", table.name);
        for (at, own) in table.columns.iter().enumerate() {
            assert_eq!(sheet["cells"][cell_name(at, 1)][1], own.heading());
            let has_unit = own.unit.is_empty() || own.heading().ends_with(&format!("[{}]", own.unit));
            assert!(has_unit);
            for (line, row) in rows.iter().enumerate() {
                let name = cell_name(at, line + 2);
                let kept = &sheet["cells"][&name];
                let same = match &row[at] {
                    Value::Null => kept.is_null(),
                    Value::Bool(truth) => kept[0] == "b" && kept[1] == if *truth { "1" } else { "0" },
                    Value::Number(number) => kept[0] == "n" && same(kept[1].as_str().unwrap(), number),
                    other => kept[0] == "s" && kept[1] == *other && sheet["formulas"][&name].is_null(),
                };
                assert!(same, "{} {name}: {kept} for {}", table.name, row[at]);
                assert_eq!(sheet["formulas"][&name].is_string(), own.follows.is_some() && !row[at].is_null());
            }
        }
    }
    recalculated(&path, &all);
}

/// What LibreOffice makes of the formulas, without the values that we kept beside them.
fn recalculated(path: &Path, all: &[Vec<Vec<Value>>]) {
    let there = Command::new("soffice").arg("--version").output().is_ok_and(|own| own.status.success());
    if !there {
        assert!(
            std::env::var_os("BONDLINE_PROGRAMS").is_none(),
            "BONDLINE_PROGRAMS asks for soffice, which is not there"
        );
        eprintln!("soffice is not there: no formula was recalculated");
        return;
    }
    let sheets = read("office", path);
    assert_eq!(sheets.as_object().unwrap().len(), TABLES.len() + 1);
    let mut compared = 0;
    for (table, rows) in TABLES.iter().zip(all) {
        let lines = sheets[table.name].as_array().unwrap();
        let mut sums = vec![0.0; table.columns.len()];
        for (line, row) in lines[1..].iter().zip(rows) {
            for (at, own) in table.columns.iter().enumerate() {
                let Some(value) = row[at].as_f64() else { continue };
                sums[at] += value;
                if own.follows.is_some() {
                    near(line[at].as_str().unwrap(), value, table.name);
                    compared += 1;
                }
            }
        }
        for (at, own) in table.columns.iter().enumerate().filter(|(_, own)| own.total && !rows.is_empty()) {
            near(lines[rows.len() + 2][at].as_str().unwrap(), sums[at], own.name);
            compared += 1;
        }
    }
    let follows: usize =
        TABLES.iter().flat_map(|own| own.columns).filter(|own| own.follows.is_some()).count();
    assert!(compared > follows + 5, "only {compared} formulas");
    eprintln!("{compared} formulas recalculated by LibreOffice");
    assert!(
        sheets["materials"].as_array().unwrap().iter().any(|line| line[1] == "=1+1"),
        "a text was calculated"
    );
}

fn near(shown: &str, value: f64, what: &str) {
    let got: f64 = shown.parse().unwrap_or_else(|_| panic!("{what}: {shown:?} is no number"));
    assert!((got - value).abs() <= 1e-9 * value.abs().max(1.0), "{what}: {got} in the office, {value} here");
}

#[test]
fn what_is_no_export_is_left_alone() {
    let bench = Bench::small();
    for (form, path) in [
        ("csv", "out"),
        ("xlsx", "out.xlsx"),
        ("json", "out.json"),
        ("sqlite", "out.sqlite"),
        ("sql", "out.sql"),
    ] {
        let run = |more: &[&str]| {
            let to = format!("../{path}");
            bench.run(&[&["export", form, "--out", &to][..], more].concat())
        };
        let real = bench.ledger().join("..").join(path);
        if form == "csv" {
            fs::create_dir(&real).unwrap();
            fs::write(real.join("mine.txt"), "mine").unwrap();
        } else {
            fs::write(&real, "mine").unwrap();
        }
        let refused = run(&[]);
        assert_eq!(refused.code, 2, "{form}");
        assert!(refused.err.contains("is no such export of this tool") && refused.err.contains("--force"));
        if form != "csv" {
            assert_eq!(fs::read_to_string(&real).unwrap(), "mine");
        }
        assert_eq!(run(&["--force"]).code, 0, "{form}");
        // Now it is one, and is written anew without being asked.
        let again = run(&[]);
        assert_eq!(again.code, 0, "{form}: {}", again.err);
        if form == "csv" {
            assert_eq!(fs::read_to_string(real.join("mine.txt")).unwrap(), "mine");
        }
    }
    // Nothing is left beside them.
    let left: Vec<String> = fs::read_dir(bench.ledger().join(".."))
        .unwrap()
        .map(|own| own.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|name| name.starts_with(".bondline"))
        .collect();
    assert!(left.is_empty(), "{left:?}");
}

#[test]
fn names_that_lead_nowhere_are_said() {
    let mut lost = Contents { rows: TABLES.iter().map(|_| Vec::new()).collect(), lost: Vec::new() };
    assert!(lost.of("panels").is_empty() && lost.of("nothing").is_empty());
    let at = TABLES.iter().position(|own| own.name == "panels").unwrap();
    lost.rows[at].push(vec![Cell::None]);
    assert_eq!(lost.of("panels").len(), 1);
    let follows = TABLES.iter().flat_map(|own| own.columns).filter_map(|own| own.follows);
    for follows in follows {
        if let Follows::Totals(all) = follows {
            assert!(
                all.iter()
                    .all(|(table, name)| TABLES[column(table, name).0].columns[column(table, name).1].total)
            );
        }
    }
}
