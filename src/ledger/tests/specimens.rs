use super::*;
use crate::ledger::{Specimen, table};
use proptest::prelude::*;

fn read(csv: &str) -> table::Table {
    table::read(csv.as_bytes()).unwrap_or_else(|faults| panic!("{faults:#?}"))
}

#[test]
fn further_columns_are_read_in_si() {
    let table = read(
        "batch,panel,specimen,value [MPa],Ply_Thickness [mm],fibre-volume [%],Width [in],PLIES,Failure mode,condition\n\
         b,p,1,600,0.21,55,1,12,LGM,ETW\nb,p,2,600,,,,,,\nb,p,3,600,,0.55,,,LGM,ETW\n",
    );
    let [one, two, three] = &*table.rows else { panic!("{table:?}") };
    let close = |got: Option<f64>, want: f64| assert!((got.unwrap() - want).abs() < 1e-12, "{got:?}");
    close(one.ply_thickness(), 0.000_21);
    close(one.fibre_volume(), 0.55);
    close(one.width(), 0.0254);
    assert_eq!((one.mode(), one.condition()), (Some("LGM"), Some("ETW")));
    assert_eq!(one.further.as_ref().unwrap().plies, Some(12));
    // What is not there costs nothing.
    assert_eq!(two.further, None);
    close(three.fibre_volume(), 0.0055);
    // Words that come again are kept once.
    let word = |row: &Specimen| std::sync::Arc::clone(row.further.as_ref().unwrap().mode.as_ref().unwrap());
    assert!(std::sync::Arc::ptr_eq(&word(one), &word(three)));
}

#[test]
fn the_thickness_of_a_specimen_is_that_of_its_plies_only_with_their_number() {
    let table = read(
        "batch,panel,specimen,value,thickness [mm],plies\nb,p,1,5,2.52,12\nb,p,2,5,2.52,\nb,p,3,5,,12\n",
    );
    let plies: Vec<Option<f64>> = table.rows.iter().map(Specimen::ply_thickness).collect();
    assert!((plies[0].unwrap() - 0.000_21).abs() < 1e-12);
    assert_eq!(plies[1..], [None, None]);
}

#[test]
fn columns_that_are_not_known_are_kept_as_they_stand() {
    let table =
        read("Oven,batch,panel,specimen,value,Remark [x\n3,b,p,1,5, a [b] ; c\n,b,p,2,5,\n,b,p,3,5,late\n");
    assert_eq!(table.others, ["Oven", "Remark [x"]);
    let cells = |at: usize| table.rows[at].others().collect::<Vec<_>>();
    assert_eq!(cells(0), ["3", "a [b] ; c"]);
    assert!(cells(1).is_empty());
    assert_eq!(cells(2), ["", "late"]);
    // Rows that say the same share it.
    let table = read("batch,panel,specimen,value,note\nb,p,1,5,cut dry\nb,p,2,6,cut dry\nb,p,3,6,wet\n");
    let of = |at: usize| table.rows[at].further.as_ref().unwrap();
    assert!(std::sync::Arc::ptr_eq(of(0), of(1)));
    assert_eq!(table.rows[2].others().collect::<Vec<_>>(), ["wet"]);
    let faults = table::read(b"batch,panel,specimen,value,note\nb,p,1,5,a\x1fb\n").unwrap_err();
    assert_eq!((faults.len(), faults[0].line), (1, 2));
}

#[test]
fn a_share_takes_percent_or_says_that_it_is_a_fraction() {
    let volume = |unit: &str, text: &str| {
        table::read(format!("batch,panel,specimen,value,fibre volume{unit}\nb,p,1,5,{text}\n").as_bytes())
            .map(|table| table.rows[0].fibre_volume().unwrap())
    };
    assert!((volume(" [%]", "55").unwrap() - 0.55).abs() < 1e-12);
    assert_eq!(volume(" [-]", "0.55"), Ok(0.55));
    for (unit, text) in
        [("", "55"), ("", "0.55"), (" [-]", "55"), (" [mm]", "0.5"), (" [%]", "0"), (" [%]", "100")]
    {
        assert!(volume(unit, text).is_err(), "{unit} {text}");
    }
}

#[test]
fn tabs_semicolons_and_commas_say_the_same() {
    let rows = |text: String| read(&text).rows;
    let plain = "batch,panel,specimen,value,width [mm],note\nb,p,1,5.5,25.1,x\n";
    let commas = rows(plain.to_string());
    assert_eq!(rows(plain.replace(',', ";")), commas);
    assert_eq!(rows(plain.replace(',', "\t")), commas);
    assert_eq!(rows(plain.replace(',', "\t").replace('.', ",")), commas);
    assert_eq!(rows(plain.replace(',', ";").replace('.', ",")), commas);
}

#[test]
fn states_share_the_rows_of_one_file() {
    let (files, recall) = (sound(), crate::ledger::MemoryRecall::default());
    let (one, two) = (Ledger::load(&files, &recall), Ledger::load(&files, &recall));
    assert!(std::sync::Arc::ptr_eq(&one.data["e-001"].rows, &two.data["e-001"].rows));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    // Whatever stands in a file, it is answered: rows with finite values, or faults on lines that there are.
    #[test]
    fn any_bytes_are_answered(bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        answered(&bytes)?;
    }

    // The same of texts that look like data.
    #[test]
    fn any_table_is_answered(
        head in prop::collection::vec(prop::sample::select(vec![
            "batch", "panel", "specimen", "value [MPa]", "value", "rejected", "thickness [mm]", "plies", "mode",
            "ply thickness [mm]", "fibre volume [%]", "width [in]", "condition", "note", "unit", "value [", "",
        ]), 0..12),
        whole in any::<bool>(),
        between in prop::sample::select(vec![",", ";", "\t"]),
        cells in prop::collection::vec(prop::sample::select(vec![
            "b", "1", "0.21", "1,5", "-3", "1e308", "1e999", "NaN", "", "\"", "\"x\ny\"", "ETW", "12", "\u{1f}", "\r", "é",
        ]), 0..60),
        width in 1usize..14,
    ) {
        let mut head = head;
        if whole {
            head.splice(0..0, ["batch", "panel", "specimen", "value [MPa]"]);
        }
        let rows: Vec<String> = cells.chunks(width).map(|row| row.join(between)).collect();
        answered(format!("{}\n{}", head.join(between), rows.join("\n")).as_bytes())?;
    }
}

fn answered(bytes: &[u8]) -> Result<(), TestCaseError> {
    match table::read(bytes) {
        Ok(table) => {
            prop_assert!(!table.rows.is_empty());
            for row in table.rows.iter() {
                prop_assert!(row.value.is_finite() || row.rejected.is_some());
                for figure in [row.ply_thickness(), row.fibre_volume(), row.width()].into_iter().flatten() {
                    prop_assert!(figure.is_finite() && figure > 0.0, "{}", figure);
                }
                let others = row.others().count();
                prop_assert!(others == 0 || others == table.others.len());
            }
        }
        Err(faults) => {
            let lines = bytes.split(|byte| *byte == b'\n').count();
            prop_assert!(!faults.is_empty());
            prop_assert!(faults.iter().all(|fault| (1..=lines).contains(&fault.line)), "{:?}", faults);
        }
    }
    Ok(())
}
