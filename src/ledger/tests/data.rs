use super::*;

const FIRST: &str = "evidence/e-001.yaml";
const CSV: &str = "evidence/data/e-001.csv";

#[track_caller]
fn good(csv: impl Into<Vec<u8>>) -> crate::ledger::TestData {
    let mut files = sound();
    files.put(CSV, csv);
    let ledger = load(&files);
    only(&ledger, &[]);
    ledger.data.get("e-001").expect("data").clone()
}

/// Asserts that the file's only faults stand on these lines, and that the evidence is left out.
#[track_caller]
fn bad(csv: impl Into<Vec<u8>>, lines: &[usize]) -> Ledger {
    let mut files = sound();
    files.put(CSV, csv);
    let ledger = load(&files);
    let found: Vec<usize> = ledger
        .faults
        .iter()
        .inspect(|fault| assert_eq!(short(fault), ("bad-data", Level::Error, CSV)))
        .filter_map(|fault| fault.place.line)
        .collect();
    assert_eq!(found, lines, "{:#?}", ledger.faults);
    assert!(!ledger.evidence.contains_key("e-001") && !ledger.data.contains_key("e-001"));
    ledger
}

#[test]
fn rows_are_read_with_their_lines() {
    let data = good("batch,panel,specimen,value [MPa]\nb1,p1,s1,610\nb1,p1,s2,6.2e2\n");
    assert_eq!(data.file, CSV);
    assert_eq!(data.unit.as_deref(), Some("MPa"));
    assert_eq!(data.rows.len(), 2);
    assert_eq!((data.rows[1].value, data.rows[1].line, &*data.rows[1].specimen), (620.0, 3, "s2"));
}

#[test]
fn digest_is_sha256_of_the_bytes() {
    // FIPS 180-4's own example, appendix B.1: "abc".
    assert_eq!(
        crate::ledger::data::digest(b"abc"),
        "sha256:ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    );
}

#[test]
fn order_of_columns_case_and_others_do_not_matter() {
    let data = good("Remark,VALUE [ MPa ],Specimen,Panel,Batch\nx,610,s1,p1,b1\n");
    assert_eq!((&*data.rows[0].batch, data.rows[0].value), ("b1", 610.0));
}

#[test]
fn values_without_a_unit_are_taken_in_the_criterions_and_that_is_said() {
    let read = |csv: &str| {
        let mut files = sound();
        files.put(CSV, csv);
        load(&files)
    };
    let bare = read("batch,panel,specimen,value\nb1,p1,s1,610\n");
    only(&bare, &[("unit-assumed", Level::Warning, CSV)]);
    assert_eq!(bare.data["e-001"].unit, None);
    only(
        &read("batch,panel,specimen,value,unit\nb1,p1,s1,610,MPa\n"),
        &[("unit-assumed", Level::Warning, CSV)],
    );
    // An empty cell says nothing.
    only(
        &read("batch,panel,specimen,value,units\nb1,p1,s1,610,\n"),
        &[("unit-assumed", Level::Warning, CSV)],
    );
    bad("batch,panel,specimen,value,unit\nb1,p1,s1,610,MPa\nb1,p1,s2,88,ksi\n", &[3]);
    bad("batch,panel,specimen,value,unit\nb1,p1,s1,610,words\n", &[2]);
    // Where the header has a unit, what another column says is a remark.
    good("batch,panel,specimen,value [MPa],unit\nb1,p1,s1,610,N/mm2\n");
}

#[test]
fn values_far_from_the_criterion_are_a_unit_that_slipped() {
    let read = |value: &str| {
        let mut files = sound();
        files.put(CSV, format!("batch,panel,specimen,value [MPa]\nb1,p1,s1,{value}\n"));
        load(&files).faults.iter().filter(|fault| fault.rule == "implausible").count()
    };
    // The criterion is 520 MPa; from 50 times less to 50 times more is a result.
    assert_eq!([read("0.61"), read("10.3"), read("10.5"), read("26001"), read("25999")], [1, 1, 0, 1, 0]);
}

#[test]
fn byte_order_mark_line_ends_and_blank_lines() {
    let data =
        good("\u{feff}batch,panel,specimen,value [MPa]\r\n\r\nb1,p1,s1,610\r\n,,,\r\n\r\nb1,p1,s2,611");
    let lines: Vec<usize> = data.rows.iter().map(|row| row.line).collect();
    assert_eq!(lines, [3, 6]);
}

#[test]
fn quoted_cells_may_span_lines() {
    let data = good("batch,panel,specimen,value [MPa],note\nb1,p1,s1,610,\"two\nlines\"\nb1,p1,s2,611,\n");
    let lines: Vec<usize> = data.rows.iter().map(|row| row.line).collect();
    assert_eq!(lines, [2, 4]);
}

#[test]
fn semicolons_bring_decimal_commas() {
    let data = good("batch;panel;specimen;value [MPa]\nb1;p1;s1;610,5\nb1;p1;s2;612\n");
    assert_eq!(data.rows[0].value, 610.5);
    assert_eq!(good("batch;panel;specimen;value [MPa]\nb1;p1;s1;610.5\n").rows[0].value, 610.5);
    bad("batch;panel;specimen;value\nb1;p1;s1;1.610,5\n", &[2]);
    // Next to decimal commas a point may well separate thousands.
    bad("batch;panel;specimen;value\nb1;p1;s1;610,5\nb1;p1;s2;1.611\n", &[3]);
    // A decimal comma among commas makes one cell two.
    let ledger = bad("batch,panel,specimen,value\nb1,p1,s1,610,5\n", &[2]);
    assert!(help(&ledger).contains("decimal comma"));
    bad("batch,panel,specimen,value\nb1,p1,s1,\"610,5\"\n", &[2]);
}

#[test]
fn rejected_rows_say_why_and_may_lack_a_value() {
    let data = good(
        "batch,panel,specimen,value [MPa],rejected\nb1,p1,s1,610,\nb1,p1,s2,,broke in the grip\nb1,p1,s3,5,x\n",
    );
    assert_eq!(data.rows[0].rejected, None);
    assert_eq!(data.rows[1].rejected.as_deref(), Some("broke in the grip"));
    assert!(data.rows[1].value.is_nan());
    assert_eq!(data.rows[2].value, 5.0);
    bad("batch,panel,specimen,value,rejected\nb1,p1,s1,n/a,broke\n", &[2]);
}

#[test]
fn bad_rows_are_named_by_line() {
    let header = "batch,panel,specimen,value [MPa]\n";
    for row in [
        "b1,p1,s1,x",
        "b1,p1,s1,",
        "b1,p1,s1",
        "b1,p1,s1,NaN",
        "b1,p1,s1,inf",
        "b1,p1,s1,1e999",
        "b1,,s1,5",
        ",p1,s1,5",
        "b1,p1,,5",
        "b1,p1,s1,610 MPa",
        "b1,p1,s1,0x10",
    ] {
        bad(format!("{header}b1,p1,s0,610\n{row}\n"), &[3]);
    }
    let ledger = bad(format!("{header}b1,p1,s1,610\nb1,p1,s2,611\nb1,p1,s1,612\n"), &[4]);
    assert!(ledger.faults[0].message.contains("line 2"));
    good(format!("{header}b1,p1,s1,610\nb1,p2,s1,611\nb2,p1,s1,612\n"));
}

#[test]
fn headers_are_whole() {
    let ledger = bad("batch,panel,value\nb1,p1,5\n", &[1]);
    assert!(ledger.faults[0].message.contains("`specimen`"));
    bad("a,b\n1,2\n", &[1]);
    bad("batch,panel,specimen,value,value [MPa]\nb1,p1,s1,5,5\n", &[1]);
    bad("batch,panel,specimen,value [MPa\nb1,p1,s1,5\n", &[1]);
    bad("batch,panel,specimen,value [furlong]\nb1,p1,s1,5\n", &[1]);
    bad("", &[1]);
    bad("batch,panel,specimen,value\n", &[1]);
    bad("batch,panel,specimen,value\n,,,\n", &[1]);
}

#[test]
fn only_text_is_read() {
    bad(b"batch,panel,specimen,value\nb\xe9,p1,s1,5\n".to_vec(), &[2]);
    bad(b"\xff\xfeb\0a\0".to_vec(), &[1]);
}

#[test]
fn many_faults_are_cut_short() {
    let rows: String = (0..100).map(|at| format!("b1,p1,s{at},x\n")).collect();
    let ledger = bad(format!("batch,panel,specimen,value\n{rows}"), &(2..=22).collect::<Vec<_>>());
    assert!(ledger.faults[20].message.contains("80 faults more"));
}

#[test]
fn values_measure_what_the_criterion_does() {
    let ledger = bad("batch,panel,specimen,value [degC]\nb1,p1,s1,610\n", &[1]);
    assert!(ledger.faults[0].message.contains("520 MPa"));
    good("batch,panel,specimen,value [ksi]\nb1,p1,s1,88\n");
}

#[test]
fn paths_stay_in_the_ledger() {
    for path in ["/etc/x.csv", "../../x.csv", "data/../../../x.csv", "C:/x.csv", "../.git/config", "."] {
        let ledger = with(FIRST, "data: data/e-001.csv", &format!("data: {path}"));
        let rule = if path == "." { "missing-data" } else { "outside-ledger" };
        error(&ledger, rule, FIRST);
    }
    let mut files = sound();
    files.put("tests-2026/x.csv", "batch,panel,specimen,value [MPa]\nb1,p1,s1,610\n");
    files.put(FIRST, changed(FIRST, "data/e-001.csv", "../tests-2026/./x.csv"));
    let ledger = load(&files);
    only(&ledger, &[]);
    assert_eq!(ledger.data["e-001"].file, "tests-2026/x.csv");
}

#[test]
fn missing_data_stops_what_is_done_only() {
    error(&with(FIRST, "data/e-001.csv", "data/e-100.csv"), "missing-data", FIRST);
    let ledger = with(FIRST, "data/e-001.csv", "data\\e-001.csv");
    error(&ledger, "missing-data", FIRST);
    assert_eq!(help(&ledger), "write the path with `/`");
    let ledger = with(FIRST, "state: done\ndata: data/e-001.csv", "state: running\ndata: data/e-100.csv");
    warning(&ledger, "missing-data", FIRST);
}

#[test]
fn digest_that_differs_is_a_warning_here() {
    let ledger = with(FIRST, "data: data/e-001.csv", "data: data/e-001.csv\ndigest: 'sha256:00'");
    warning(&ledger, "digest-differs", FIRST);
    let own = load(&sound()).data["e-001"].digest.clone();
    only(&with(FIRST, "data: data/e-001.csv", &format!("data: data/e-001.csv\ndigest: '{own}'")), &[]);
}

#[test]
fn batches_are_shared_only_where_both_say_so() {
    let second = "evidence/data/e-002.csv";
    let table = changed(second, "b7", "b1");
    let mut files = sound();
    files.put(second, table.as_str());
    let ledger = load(&files);
    only(&ledger, &[("shared-batch", Level::Error, second)]);
    assert_eq!(ledger.faults[0].place.line, Some(2));
    assert_eq!(ledger.faults[0].why[0].place.file, CSV);
    assert!(ledger.evidence.contains_key("e-001") && !ledger.evidence.contains_key("e-002"));

    let shared = |path: &str| changed(path, "state: done", "state: done\nlots: shared");
    files.put(FIRST, shared(FIRST));
    only(&load(&files), &[("shared-batch", Level::Error, second)]);
    files.put("evidence/e-002.yaml", shared("evidence/e-002.yaml"));
    only(&load(&files), &[]);
}

#[test]
fn a_correction_has_the_batches_of_what_it_corrects() {
    let mut files = sound();
    files.put("evidence/e-003.yaml", changed(FIRST, "kind: test", "kind: test\nsupersedes: e-001"));
    only(&load(&files), &[]);
}

#[test]
fn the_same_label_under_another_showing_is_another_lot() {
    let mut files = sound();
    files.put(
        "evidence/e-003.yaml",
        changed(FIRST, "showing: lamina-tension", "showing: wet-tg").replace("e-001.csv", "e-003.csv"),
    );
    files.put("evidence/data/e-003.csv", "batch,panel,specimen,value [degC]\nb1,p1,s1,105\n");
    only(&load(&files), &[]);
}
