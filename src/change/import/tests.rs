use super::*;
use crate::ledger::Ledger;
use crate::source::Snapshot;

fn target(to: &str, unit: &str) -> Target {
    Target { to: to.into(), unit: unit.into() }
}

#[test]
fn columns_are_guessed_with_their_units() {
    let sheet = sheet(
        b"Code,Areal weight (g/m\xc2\xb2),Density [kg/m3],dry_tg_degC,Cured thickness mm,Colour,supplier\n",
    )
    .unwrap();
    let got = guessed(ImportKind::Materials, &sheet).columns;
    assert_eq!(got["Code"], target("id", ""));
    assert_eq!(got["Areal weight (g/m²)"], target("areal", "g/m2"));
    assert_eq!(got["Density [kg/m3]"], target("density", "kg/m3"));
    assert_eq!(got["dry_tg_degC"], target("dry_tg", "degC"));
    assert_eq!(got["Cured thickness mm"], target("cured_thickness", "mm"));
    assert_eq!((&got["Colour"], &got["supplier"]), (&target("", ""), &target("supplier", "")));
}

#[test]
fn a_mapping_is_read_back() {
    let sheet = sheet(b"Panel;Zone;Area (m2)\n").unwrap();
    assert!(sheet.comma);
    let own = guessed(ImportKind::Panels, &sheet);
    assert_eq!(Mapping::read(&own.text()), Ok(own.clone()));
    assert!(Mapping::read("kind: panels\ncolums: {}\n").unwrap_err().contains("colums"));
}

#[test]
fn a_file_that_is_no_sheet_says_why() {
    assert!(sheet(b"").unwrap_err().message.contains("no columns"));
    assert!(sheet(b"a,a\n").unwrap_err().message.contains("two columns"));
    assert_eq!(sheet(b"a,b\n1,2,3\n").unwrap_err().line, Some(2));
    assert!(sheet(b"\xff").unwrap_err().message.contains("UTF-8"));
    assert_eq!(
        sheet(b"a,b\n\n1,2,\n").unwrap().lines,
        [Line { line: 3, cells: vec!["1".into(), "2".into()] }]
    );
}

#[test]
fn a_key_of_a_million_parts_is_refused_in_words() {
    let sheet = sheet(b"Part,Colour\np-1,red\n").unwrap();
    let deep = "a.".repeat(1_000_000);
    let mut mapping = guessed(ImportKind::Panels, &sheet);
    mapping.columns.insert("Part".into(), target("id", ""));
    mapping.columns.insert("Colour".into(), target(&deep, ""));
    mapping.set.insert(deep, serde_yaml::Value::Null);
    let made = made(&sheet, &mapping, &Ledger::default(), &Snapshot::empty());
    let columns: Vec<Option<&str>> = made.refused.iter().map(|own| own.column.as_deref()).collect();
    assert_eq!(columns, [Some("Colour"), None]);
    assert!(
        made.refused.iter().all(|own| own.message.contains("more than 8 parts") && own.message.len() < 100)
    );
    assert!(made.files.is_empty());
}

/// The lines and columns of a sheet of panels whose numbers are doubtful.
fn doubts(text: &str) -> Vec<(usize, String)> {
    let sheet = sheet(text.as_bytes()).unwrap();
    let mapping = guessed(ImportKind::Panels, &sheet);
    let made = made(&sheet, &mapping, &Ledger::default(), &Snapshot::empty());
    let doubts = made.refused.iter().filter(|own| own.message.contains(" or "));
    doubts.map(|own| (own.line, own.column.clone().unwrap_or_default())).collect()
}

#[test]
fn a_point_that_may_part_thousands_is_asked_about() {
    const HEAD: &str = "panel;title;group;class;quantity;area [m2]\n";
    let area = |cells: &[&str]| {
        let mut text = HEAD.replace("area", "zone area");
        for (at, cell) in cells.iter().enumerate() {
            text.push_str(&format!("p-{at};1.234;closures;non-structural;1;{cell}\n"));
        }
        doubts(&text)
    };
    let refused = |lines: &[usize]| -> Vec<(usize, String)> {
        lines.iter().map(|line| (*line, "zone area [m2]".to_string())).collect()
    };
    assert_eq!(area(&["1.234"]), refused(&[2]));
    assert_eq!(area(&["-12.500", "3"]), refused(&[2]));
    // Another row settles it; one with a comma says the contrary of one with a point.
    assert_eq!(area(&["1.234", "0.5"]), []);
    assert_eq!(area(&["1.234", "0.250"]), []);
    assert_eq!(area(&["1.234", "0,5"]), refused(&[2]));
    assert_eq!(area(&["1.234", "0,5", "0.5", "1.234,5"]), refused(&[2]));
    // These are one number only.
    assert_eq!(area(&["0.123", "1.2345", "1,234", "1234.500", "12.50", "e.123"]), []);
    assert_eq!(doubts(&HEAD.replace(';', ",")), []);
    assert_eq!(doubts("panel,zone area [m2]\np-1,1.234\n"), []);
}
