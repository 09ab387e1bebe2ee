//! Reading the data file of an exposure trial: one row for each reading in time.

use super::table::{BadLine, Numbers, Reader};
use super::words::suggest;
use crate::quantity::{Adhesion, Blisters, Exposed, ExposureUnit};
use crate::record::{Day, Figure, Graded, Property, Scale};
use std::collections::BTreeMap;
use std::sync::LazyLock;

const HEADER: &str = "write the header `panel,site,exposure [months],property,value`, with `on`, `place` and `rejected` where needed";
const START: &str = "write the reading at exposure 0 of the same panel at the same site, and of the same `place` where there \
     are several: what follows is held against it";

/// What a column is called that tells several readings of one panel, exposure and property apart.
const PLACES: [&str; 2] = ["place", "replicate"];

/// One reading of one panel.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialReading {
    /// Label of the panel.
    pub panel: String,
    /// The site, as the record names it.
    pub site: String,
    /// Where on the panel, or which of several readings of one kind; `None` where there is one.
    pub place: Option<String>,
    /// How long it was exposed.
    pub exposure: Exposed,
    /// What was read.
    pub property: Property,
    /// The value in the property's own unit; `None` where a rejected reading has none.
    pub value: Option<Graded>,
    /// The day, where it was written.
    pub on: Option<Day>,
    /// Why it was rejected, where it was.
    pub rejected: Option<String>,
    /// Line in the file.
    pub line: usize,
}

/// Returns whether the header is that of readings in time rather than of specimens.
pub(super) fn are_readings(bytes: &[u8]) -> bool {
    // What is no text is said by whoever reads it as a table.
    let Ok(reader) = Reader::of(bytes) else { return false };
    let first = reader
        .rows()
        .into_records()
        .map_while(Result::ok)
        .find(|row| row.iter().any(|cell| !cell.is_empty()));
    let cells: Vec<String> = first.iter().flatten().map(str::to_lowercase).collect();
    cells.iter().any(|cell| cell == "property") && cells.iter().any(|cell| cell.starts_with("exposure"))
}

/// The words of all properties.
static PROPERTIES: LazyLock<String> = LazyLock::new(|| {
    let words: Vec<&str> = Property::ALL.into_iter().map(Property::word).collect();
    format!("write one of {}", words.join(", "))
});

/// Where the columns stand.
struct Columns {
    panel: usize,
    site: usize,
    hours: Option<usize>,
    months: Option<usize>,
    property: usize,
    value: usize,
    on: Option<usize>,
    place: Option<usize>,
    rejected: Option<usize>,
    count: usize,
}

/// Reads the readings from the bytes of a file.
///
/// # Errors
/// All faults in the order of their lines.
pub(super) fn read(bytes: &[u8]) -> Result<Vec<TrialReading>, Vec<BadLine>> {
    let mut reader = Reader::of(bytes)?;
    let mut numbers = Numbers::of(reader.delimiter());
    let mut columns: Option<Columns> = None;
    let mut found: Vec<TrialReading> = Vec::new();
    let mut last = 1;
    reader.each_row(|reader, line, record| {
        last = line;
        let Some(columns) = &columns else {
            columns = header(reader, line, record);
            return columns.is_some();
        };
        if reader.is_full(line, found.len()) {
            return false;
        }
        found.extend(row(reader, line, record, columns, &mut numbers));
        true
    });
    reader.decimals_are_alike(&numbers);
    if found.is_empty() && reader.faults.is_empty() {
        reader.fault(last, "the file has no rows", "only a header", "write one row for each reading");
    }
    together(&mut reader, &found);
    if reader.faults.is_empty() { Ok(found) } else { Err(reader.shown()) }
}

fn header(reader: &mut Reader<'_>, line: usize, header: &csv::StringRecord) -> Option<Columns> {
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    for (index, cell) in header.iter().enumerate() {
        let name: String = cell.split_whitespace().collect::<Vec<_>>().join(" ").to_lowercase();
        if places.insert(name.clone(), index).is_some() && !name.is_empty() {
            reader.fault(
                line,
                format!("the column `{name}` is there twice"),
                "column twice",
                "keep one of them",
            );
        }
    }
    let place = |name: &str| places.get(name).copied();
    let (hours, months) = (place("exposure [h]"), place("exposure [months]"));
    if PLACES.into_iter().all(|name| places.contains_key(name)) {
        let help = "keep one of them, with a word for each of several readings";
        reader.fault(line, "the header has `place` and `replicate`, which are one", "column twice", help);
    }
    let mut missing: Vec<String> = ["panel", "site", "property", "value"]
        .iter()
        .filter(|name| !places.contains_key(**name))
        .map(|name| format!("`{name}`"))
        .collect();
    if hours.is_none() && months.is_none() {
        missing.push("`exposure [h]` or `exposure [months]`".to_string());
    }
    if !missing.is_empty() {
        reader.fault(line, format!("the header lacks {}", missing.join(", ")), "columns missing", HEADER);
    }
    Some(Columns {
        panel: place("panel")?,
        site: place("site")?,
        hours,
        months,
        property: place("property")?,
        value: place("value")?,
        on: place("on"),
        place: PLACES.into_iter().find_map(place),
        rejected: place("rejected"),
        count: header.len(),
    })
    .filter(|columns| columns.hours.is_some() || columns.months.is_some())
}

fn row(
    reader: &mut Reader<'_>,
    line: usize,
    record: &csv::StringRecord,
    columns: &Columns,
    numbers: &mut Numbers,
) -> Option<TrialReading> {
    if !reader.is_row(line, record, columns.count, numbers) {
        return None;
    }
    let cell = |index: usize| record.get(index).unwrap_or_default();
    let mut whole = true;
    for (name, index) in [("panel", columns.panel), ("site", columns.site)] {
        if cell(index).is_empty() {
            reader.fault(line, format!("the row has no {name}"), "empty cell", "write its label");
            whole = false;
        }
    }
    let exposure = exposure(reader, line, columns, &cell, numbers);
    let on = columns.on.map(cell).filter(|text| !text.is_empty()).map(Day::parse);
    if let Some(Err(why)) = &on {
        reader.fault(line, why.clone(), "no day", "write the day of the reading, or leave the cell empty");
        whole = false;
    }
    let rejected = columns.rejected.map(cell).filter(|reason| !reason.is_empty()).map(str::to_string);
    let property = property(reader, line, cell(columns.property));
    let text = cell(columns.value);
    let value = match (&property, text) {
        (_, "") if rejected.is_some() => None,
        (_, "") => {
            let help = "write the value, or why the reading was rejected";
            reader.fault(line, "the row has no value and no reason why it was rejected", "no value", help);
            return None;
        }
        (None, _) => None,
        (Some((property, unit)), text) => match graded(*property, unit.as_deref(), text, line, numbers) {
            Ok(value) => Some(value),
            Err((message, label, help)) => {
                reader.fault(line, message, label, help);
                return None;
            }
        },
    };
    Some(TrialReading {
        panel: cell(columns.panel).to_string(),
        site: cell(columns.site).to_string(),
        place: columns.place.map(cell).filter(|text| !text.is_empty()).map(str::to_string),
        exposure: exposure.filter(|_| whole)?,
        property: property?.0,
        value,
        on: on.and_then(Result::ok),
        rejected,
        line,
    })
}

fn exposure<'c>(
    reader: &mut Reader<'_>,
    line: usize,
    columns: &Columns,
    cell: &impl Fn(usize) -> &'c str,
    numbers: &mut Numbers,
) -> Option<Exposed> {
    let of = |at: Option<usize>| at.map(cell).filter(|text| !text.is_empty());
    let (text, unit) = match (of(columns.hours), of(columns.months)) {
        (Some(text), None) => (text, ExposureUnit::Hours),
        (None, Some(text)) => (text, ExposureUnit::Months),
        (None, None) => {
            let help = "write how long the panel was exposed; 0 for the reading before";
            reader.fault(line, "the row has no exposure", "empty cell", help);
            return None;
        }
        (Some(_), Some(_)) => {
            let help = "keep the hours of a cabinet or the months outdoors: neither becomes the other";
            reader.fault(line, "the row has hours and months", "two exposures", help);
            return None;
        }
    };
    let number = numbers.read(text, line).filter(|number| *number >= 0.0);
    if number.is_none() {
        let help = "write a plain number of 0 or more; the unit stands in the header";
        reader.fault(line, format!("`{text}` is no exposure"), "no number", help);
    }
    Some(Exposed { number: number?, unit })
}

/// The property and the unit behind it.
fn property(reader: &mut Reader<'_>, line: usize, text: &str) -> Option<(Property, Option<String>)> {
    let (name, unit) = match text.split_once('[') {
        Some((name, unit)) => (name.trim(), Some(unit.trim_end_matches(']').trim().to_string())),
        None => (text, None),
    };
    let property = Property::named(name);
    if property.is_none() {
        let near = suggest(name, Property::ALL.into_iter().map(Property::word));
        let near = near.map_or_else(String::new, |near| format!(": {near}"));
        let message = format!("`{name}` is no property of a trial{near}");
        reader.fault(line, message, "unknown property", &PROPERTIES);
    }
    Some((property?, unit))
}

type Bad = (String, &'static str, &'static str);

fn graded(
    property: Property,
    unit: Option<&str>,
    text: &str,
    line: usize,
    numbers: &mut Numbers,
) -> Result<Graded, Bad> {
    let own = match property.scale() {
        Scale::Measure(own) => own,
        _ => "",
    };
    let bare = unit.is_none_or(str::is_empty) || property.is_gloss() && unit == Some("GU");
    match (own, bare) {
        ("", false) => {
            let message =
                format!("`{property}` has no unit, but `{}` stands behind it", unit.unwrap_or_default());
            return Err((message, "a unit too many", "write the property alone"));
        }
        (own, true) if !own.is_empty() => {
            let message = format!("`{property}` has no unit; write for example `{property} [{own}]`");
            return Err((message, "no unit", "write the unit of the value behind the property, in brackets"));
        }
        _ => {}
    }
    match property.scale() {
        Scale::Blisters => {
            let help = "write 10 for none, else size and frequency: 8F, 6M, 4MD, 2D";
            Blisters::parse(text).map(Graded::Blisters).map_err(|why| (why, "no blistering", help))
        }
        Scale::Adhesion => {
            let help = "write the class from 5 to 0 with the letter of the method: 4A, 5B";
            Adhesion::parse(text).map(Graded::Adhesion).map_err(|why| (why, "no class", help))
        }
        scale => {
            let plain = "write a plain decimal number, without unit and thousands separators; a decimal comma asks \
                for `;` between columns";
            let number = numbers.read(text, line);
            let number = number.ok_or_else(|| (format!("`{text}` is no number"), "no number", plain))?;
            if scale == Scale::Rating {
                let fits = (0.0..=10.0).contains(&number);
                let bad =
                    || (format!("`{text}` is no rating from 10 (best) to 0"), "no rating", "write 10 to 0");
                return if fits { Ok(Graded::Number(number)) } else { Err(bad()) };
            }
            let given = unit.filter(|_| !bare).unwrap_or_default();
            let number = Figure::of(number, given).number_in(own).ok_or_else(|| {
                let help = "write the unit of the value behind the property, in brackets";
                (format!("`{given}` is no unit of {property}, which is read in {own}"), "other unit", help)
            })?;
            property.fits(number).map_err(|words| {
                let help = "correct the figure, or the unit behind the property";
                (format!("`{text}` is no {property}: it must be {words}"), "out of range", help)
            })?;
            Ok(Graded::Number(number))
        }
    }
}

/// Site, panel, place, exposure and property of a reading.
type Key<'r> = (&'r str, &'r str, &'r str, u64, &'static str);

fn key(row: &TrialReading, exposure: f64, property: Property) -> Key<'_> {
    let place = row.place.as_deref().unwrap_or_default();
    (&row.site, &row.panel, place, exposure.to_bits(), property.word())
}

/// The panel, the place on it and the site.
fn of(row: &TrialReading) -> String {
    let place = row.place.as_ref().map_or_else(String::new, |place| format!(", place `{place}`,"));
    format!("panel `{}`{place} at `{}`", row.panel, row.site)
}

/// What rows say of each other: twice the same, hours and months at one site, no reading before the exposure, a
/// colour without one of its coordinates.
fn together(reader: &mut Reader<'_>, rows: &[TrialReading]) {
    let mut units: BTreeMap<&str, (ExposureUnit, usize)> = BTreeMap::new();
    let mut seen: BTreeMap<Key<'_>, usize> = BTreeMap::new();
    // Whether a reading says a place, and where that was first said.
    let mut placed: BTreeMap<Key<'_>, (bool, usize)> = BTreeMap::new();
    for row in rows {
        let (unit, first) = *units.entry(&row.site).or_insert((row.exposure.unit, row.line));
        if unit != row.exposure.unit {
            let message = format!(
                "the site `{}` has {} here and {} on line {first}",
                row.site,
                row.exposure.unit.long(),
                unit.long()
            );
            let help = "give the cabinet and the rack a site each: hours never become months";
            reader.fault(row.line, message, "hours and months", help);
        }
        if row.rejected.is_some() {
            continue;
        }
        if let Some(first) = seen.insert(key(row, row.exposure.number, row.property), row.line) {
            let message = format!(
                "`{}` of {} after {} stands on line {first} too",
                row.property,
                of(row),
                row.exposure
            );
            let help = "take the row out, correct it, say in `rejected` why one does not count, or tell several readings \
                apart in a column `place`";
            reader.fault(row.line, message, "same reading", help);
        }
        let without =
            (row.site.as_str(), row.panel.as_str(), "", row.exposure.number.to_bits(), row.property.word());
        let (has_place, first) = *placed.entry(without).or_insert((row.place.is_some(), row.line));
        if has_place != row.place.is_some() {
            let message = format!(
                "`{}` of panel `{}` at `{}` after {} has a place on one of the lines {first} and {}, and none on the other",
                row.property, row.panel, row.site, row.exposure, row.line
            );
            reader.fault(row.line, message, "place or none", "write the place of each of several readings");
        }
    }
    let has = |row: &TrialReading, exposure: f64, property: Property| {
        seen.contains_key(&key(row, exposure, property))
    };
    let mut said: BTreeMap<(&str, &str, &str, &str), usize> = BTreeMap::new();
    for row in rows.iter().filter(|row| row.rejected.is_none() && row.property.needs_start()) {
        let of_series = (
            row.site.as_str(),
            row.panel.as_str(),
            row.place.as_deref().unwrap_or_default(),
            row.property.word(),
        );
        if !has(row, 0.0, row.property) && said.insert(of_series, row.line).is_none() {
            let message = format!("`{}` of {} was not read at exposure 0", row.property, of(row));
            reader.fault(row.line, message, "no start", START);
        }
        let coordinates = [Property::ColourL, Property::ColourA, Property::ColourB];
        let lost = coordinates.into_iter().find(|one| !has(row, row.exposure.number, *one));
        if let Some(lost) = lost.filter(|_| row.property.is_coordinate()) {
            let message = format!("the colour of {} after {} has no `{lost}`", of(row), row.exposure);
            let help = "write colour-L, colour-a and colour-b of one reading, a row each";
            reader.fault(row.line, message, "no whole colour", help);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HEAD: &str = "panel,site,exposure [months],property,value,on,rejected\n";

    fn faults(rows: &str) -> Vec<(usize, &'static str)> {
        let read = read(format!("{HEAD}{rows}").as_bytes());
        read.unwrap_err().into_iter().map(|bad| (bad.line, bad.label)).collect()
    }

    #[test]
    fn rows_are_read_in_the_scale_of_their_property() {
        let text = "T1,rack,0,gloss-60,88.1,2026-01-05,\nT1,rack,3,gloss-60 [GU],80,,\nT1,rack,3,film-thickness [mm],0.2,,\n\
                    T1,rack,3,blistering,8F,,\nT1,rack,3,adhesion,4B,,\nT1,rack,3,chalking,9,,\nT1,rack,6,chalking,,,dropped\n";
        let rows = read(format!("{HEAD}{text}").as_bytes()).unwrap();
        assert_eq!(rows.len(), 7);
        assert_eq!(rows[0].on, Some(Day::parse("2026-01-05").unwrap()));
        assert_eq!(rows[2].value, Some(Graded::Number(200.0)));
        assert_eq!(rows[3].value.unwrap().to_string(), "8F");
        assert_eq!((rows[6].value, rows[6].rejected.as_deref(), rows[6].line), (None, Some("dropped"), 8));
    }

    #[test]
    fn hours_and_months_stand_in_columns_of_their_own() {
        let text = "site;panel;exposure [h];exposure [months];property;value\nbox;T1;500;;chalking;9,5\nrack;T2;;3;chalking;9\n";
        let rows = read(text.as_bytes()).unwrap();
        assert_eq!(
            (rows[0].exposure.to_string(), rows[1].exposure.to_string()),
            ("500 h".into(), "3 months".into())
        );
        assert_eq!(rows[0].value, Some(Graded::Number(9.5)));
        let both = text.replace("T2;;3", "T2;2160;3");
        assert_eq!(read(both.as_bytes()).unwrap_err()[0].label, "two exposures");
        let one_site = text.replace("rack", "box");
        assert_eq!(read(one_site.as_bytes()).unwrap_err()[0].label, "hours and months");
    }

    #[test]
    fn what_is_wrong_is_said_with_its_line() {
        assert_eq!(faults("T1,rack,3,chalking,fine,,\n"), [(2, "no number")]);
        assert_eq!(faults("T1,rack,3,chalking,11,,\n"), [(2, "no rating")]);
        assert_eq!(faults("T1,rack,x,chalking,9,,\n"), [(2, "no number")]);
        assert_eq!(faults("T1,rack,-3,chalking,9,,\n"), [(2, "no number")]);
        assert_eq!(faults("T1,rack,3,chalkin,9,,\n"), [(2, "unknown property")]);
        assert_eq!(faults("T1,rack,3,blistering,8X,,\n"), [(2, "no blistering")]);
        assert_eq!(faults("T1,rack,3,adhesion,4,,\n"), [(2, "no class")]);
        assert_eq!(faults("T1,rack,3,film-thickness,200,,\n"), [(2, "no unit")]);
        assert_eq!(faults("T1,rack,3,film-thickness [g],200,,\n"), [(2, "other unit")]);
        assert_eq!(faults("T1,rack,3,chalking [um],9,,\n"), [(2, "a unit too many")]);
        assert_eq!(faults("T1,rack,3,gloss-60,80,,\n"), [(2, "no start")]);
        assert_eq!(faults("T1,rack,0,colour-L,90,,\n"), [(2, "no whole colour")]);
        assert_eq!(faults("T1,rack,3,chalking,9,,\nT1,rack,3,chalking,8,,\n"), [(3, "same reading")]);
        assert_eq!(faults("T1,rack,3,chalking,9,3rd of May,\n"), [(2, "no day")]);
        assert_eq!(faults("T1,rack,3,chalking,,,\n"), [(2, "no value")]);
        assert_eq!(faults(",rack,3,chalking,9,,\n"), [(2, "empty cell")]);
        assert_eq!(faults("T1,rack,,chalking,9,,\n"), [(2, "empty cell")]);
        assert_eq!(faults("T1,rack,3,chalking,9,5,,x\n"), [(2, "too many cells")]);
        assert_eq!(faults(""), [(1, "only a header")]);
    }

    #[test]
    fn what_no_instrument_shows_is_out_of_range() {
        let bad = [
            "gloss-60,-88",
            "gloss-20,2001",
            "gloss-retention [%],-1",
            "colour-L,999",
            "colour-L,-1",
            "colour-a,201",
            "colour-b,-201",
            "colour-difference,-0.1",
            "colour-difference-2000,-0.1",
            "pull-off [MPa],-1",
            "film-thickness [um],0",
            "waviness [um],-2",
            "mass [g],0",
            "mass [g],-200",
            "mass-change [%],-101",
        ];
        for one in bad {
            assert_eq!(faults(&format!("T1,rack,0,{one},,\n")), [(2, "out of range")], "{one}");
        }
        let good = "T1,rack,0,gloss-20,2000,,\nT1,rack,0,gloss-60,0,,\nT1,rack,0,colour-L,100,,\n\
                    T1,rack,0,colour-a,-200,,\nT1,rack,0,colour-b,0,,\nT1,rack,0,colour-difference,0,,\n\
                    T1,rack,0,mass-change [%],-0.4,,\nT1,rack,0,waviness [um],0,,\nT1,rack,0,pull-off [MPa],0,,\n";
        assert_eq!(read(format!("{HEAD}{good}").as_bytes()).unwrap().len(), 9);
        let bad = read(format!("{HEAD}T1,rack,0,gloss-60,-88,,\n").as_bytes()).unwrap_err();
        assert_eq!(bad[0].message, "`-88` is no gloss-60: it must be from 0 to 2000 gloss units");
    }

    #[test]
    fn the_nearest_property_is_named() {
        let bad = read(format!("{HEAD}T1,rack,3,glos-60,9,,\n").as_bytes()).unwrap_err();
        assert!(bad[0].message.contains("did you mean `gloss-60`"), "{}", bad[0].message);
    }

    #[test]
    fn several_readings_are_told_apart_by_their_place() {
        const PLACED: &str = "panel,site,exposure [months],property,place,value\n";
        let read = |rows: &str| read(format!("{PLACED}{rows}").as_bytes());
        let rows = read("T1,rack,3,adhesion,dry,4B\nT1,rack,3,adhesion,wet,5B\n").unwrap();
        assert_eq!(rows[1].place.as_deref(), Some("wet"));
        let label = |rows: &str| read(rows).unwrap_err()[0].label;
        assert_eq!(label("T1,rack,3,adhesion,dry,4B\nT1,rack,3,adhesion,dry,5B\n"), "same reading");
        assert_eq!(label("T1,rack,3,adhesion,,4B\nT1,rack,3,adhesion,wet,5B\n"), "place or none");
        // What is held against exposure 0 needs that of its own place.
        assert_eq!(label("T1,rack,0,gloss-60,1,88\nT1,rack,3,gloss-60,2,80\n"), "no start");
        assert_eq!(label("T1,rack,0,colour-L,1,90\nT1,rack,0,colour-a,2,0\n"), "no whole colour");
        let two =
            format!("{}\nT1,rack,3,chalking,1,2,9\n", PLACED.trim_end().replace("place", "place,replicate"));
        assert_eq!(super::read(two.as_bytes()).unwrap_err()[0].label, "column twice");
    }

    #[test]
    fn the_help_names_every_property() {
        let bad = read(format!("{HEAD}T1,rack,3,glos,9,,\n").as_bytes()).unwrap_err();
        for property in Property::ALL {
            assert!(bad[0].help.contains(property.word()), "{property}: {}", bad[0].help);
        }
    }

    #[test]
    fn a_rejected_reading_may_be_repeated() {
        let rows =
            read(format!("{HEAD}T1,rack,3,chalking,2,,wet\nT1,rack,3,chalking,9,,\n").as_bytes()).unwrap();
        assert_eq!(rows.len(), 2);
    }

    #[test]
    fn tabs_stand_between_columns_too_and_columns_are_capped() {
        let text = "panel\tsite\texposure [h]\tproperty\tvalue\nT1\tbox\t500\tchalking\t9,5\n";
        assert_eq!(read(text.as_bytes()).unwrap()[0].value, Some(Graded::Number(9.5)));
        let wide = format!("{HEAD}T1,rack,3,chalking,9,,{}\nT1,rack,3,chalking,x,,\n", ",x".repeat(100));
        let bad = read(wide.as_bytes()).unwrap_err();
        assert!(bad[0].message.contains("at most 64 are read"), "{}", bad[0].message);
        // A file that is wrong so is not read on.
        assert_eq!(bad.len(), 1);
    }

    #[test]
    fn readings_are_known_by_their_header() {
        assert!(are_readings(HEAD.as_bytes()));
        assert!(are_readings(b"\xef\xbb\xbf\nSite;Property;Exposure\n"));
        assert!(are_readings(b"panel\tsite\texposure [h]\tproperty\tvalue\n"));
        assert!(are_readings(b"\"panel\";\"site\";\"exposure [h]\";\"property\";\"value\"\n"));
        assert!(!are_readings(b"batch,panel,specimen,value [MPa]\n") && !are_readings(b""));
        let bad = read(b"panel,site,exposure,property,value\n").unwrap_err();
        assert_eq!((bad.len(), bad[0].label), (1, "columns missing"));
    }
}
