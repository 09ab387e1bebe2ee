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
