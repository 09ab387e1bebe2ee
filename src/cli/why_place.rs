//! `bondline why RECORD#PLACE`: what a place within a record counts for.

use super::context::Loaded;
use crate::article::{Subject, lamina_in};
use crate::change::facets::{Target, facet_of_route};
use crate::graph::Use;
use crate::ledger::FACETS;
use crate::qualify::table::Table;
use crate::qualify::verdict::Duty;
use crate::record::sensitivity::Asks;
use crate::record::{Address, RecordKind, places};
use serde_yaml::Value;

/// What is known of a place.
pub(super) struct Place {
    /// The value as it is written.
    pub(super) written: String,
    /// The facet that it counts in; `None` where it names another record, or counts in none.
    pub(super) facet: Option<&'static str>,
    /// The records that are named at the place or within it.
    pub(super) names: Vec<Use>,
    /// Whether a difference there is judged by what differs behind the name.
    is_name: bool,
    /// Whether the record is part of an article: what asks or shows is looked at in other ways.
    is_article: bool,
}

impl Place {
    /// Finds a place; `None` where nothing stands there.
    pub(super) fn find(loaded: &Loaded, found: &Address, route: &str, uses: &[Use]) -> Option<Self> {
        let file = loaded.ledger.file_of(found)?;
        let text = loaded.text(file)?;
        let index = places(&text);
        let stretch = index.find(route)?;
        let record: Value = serde_yaml::from_str(&text).ok()?;
        let within = |one: &&Use| {
            index.find(&one.route).is_some_and(|own| own.start >= stretch.start && own.end <= stretch.end)
        };
        let names = uses.iter().filter(within).cloned().collect();
        let json = serde_json::to_value(&record).unwrap_or_default();
        let target = facet_of_route(found.kind(), &attribute(&record, route), &json);
        let (facet, is_name) = match target {
            Target::Facet(facet) => (facet, false),
            Target::Reference(_) => (None, true),
        };
        let is_article = matches!(
            found.kind(),
            RecordKind::Material
                | RecordKind::Process
                | RecordKind::Tool
                | RecordKind::Finish
                | RecordKind::Recipe
                | RecordKind::Panel
        );
        let written = index.text(stretch).trim().to_string();
        Some(Self { written, facet, names, is_name, is_article })
    }

    /// What it counts in, in a sentence.
    pub(super) fn words(&self) -> Option<String> {
        match (self.facet, self.is_name) {
            _ if !self.is_article => None,
            (Some(facet), _) if self.names.is_empty() => Some(format!("Counts in {facet}.")),
            (Some(facet), _) => {
                Some(format!("Counts in {facet}, and by what stands in the records it names."))
            }
            (None, true) => Some("Names a record, and counts by what stands there.".to_string()),
            (None, false) => Some("Counts in no facet: no comparison looks at it.".to_string()),
        }
    }

    /// What the duties that it counts for are called.
    pub(super) fn heading(&self) -> String {
        match self.facet {
            Some(facet) if self.names.is_empty() => format!("Duties that ask about {facet} of it"),
            _ => "Duties that rest on it".to_string(),
        }
    }

    /// Whether a duty, which holds the record, asks anything of a difference at the place.
    pub(super) fn counts_for(&self, loaded: &Loaded, duty: &Duty) -> bool {
        let Some(showing) = loaded.ledger.showings.get(&duty.showing) else { return false };
        let Some(row) = Table::row(showing.value.kind.as_str()) else { return false };
        let asked = |facet: &str| {
            let own = |key: &String| key == facet || key.starts_with(&format!("{facet}."));
            // A cell that is there for its note alone asks nothing.
            let cell = row.cells.iter().any(|(key, cell)| own(key) && cell.level > Asks::None);
            row.has_facet(duty.subject.kind().word(), facet)
                && (cell || showing.value.sensitivity.keys().any(own))
        };
        match self.facet {
            // A place that holds names counts in their facets too, whichever differ.
            _ if !self.names.is_empty() => true,
            Some(facet) => asked(facet),
            None => self.is_name || !self.is_article,
        }
    }
}

/// Whether a lamina is a ply of the recipe.
pub(super) fn is_ply_of(loaded: &Loaded, subject: &Subject, found: &Address) -> bool {
    found.kind() == RecordKind::Recipe
        && loaded
            .ledger
            .recipes
            .get(found.id())
            .is_some_and(|recipe| lamina_in(&loaded.ledger, subject, recipe).unwrap_or(false))
}

/// The route without places in lists.
fn attribute(record: &Value, route: &str) -> String {
    let mut at = Some(record);
    let mut keys = Vec::new();
    for step in route.split('.') {
        match at {
            Some(Value::Sequence(all)) => {
                // By number or by name: entries of one list are alike enough.
                let place = step.parse::<usize>().ok().and_then(|place| place.checked_sub(1));
                at = place.and_then(|place| all.get(place)).or_else(|| all.first());
            }
            Some(other) => {
                keys.push(step);
                at = other.get(step);
            }
            None => keys.push(step),
        }
    }
    keys.join(".")
}

/// What stands in a record where a route leads nowhere, and what may have been meant.
pub(super) fn absent(loaded: &Loaded, found: &Address, route: &str) -> String {
    let text = loaded.ledger.file_of(found).and_then(|file| loaded.text(file)).unwrap_or_default();
    let record: Value = serde_yaml::from_str(&text).unwrap_or_default();
    let index = places(&text);
    // An entry that is reached by its name alone, or a key without what it stands in.
    let mut all = Vec::new();
    routes(&record, String::new(), &mut all);
    let ending = format!(".{route}");
    let whole = all.iter().find(|one| one.ends_with(&ending) && index.find(one).is_some());
    if let Some(whole) = whole {
        return format!("did you mean `{whole}`?");
    }
    let head = route.split('.').next().unwrap_or_default();
    let facet = FACETS.iter().any(|(facet, _)| *facet == head);
    let mut there = route;
    while !there.is_empty() && index.find(there).is_none() {
        there = there.rsplit_once('.').map_or("", |(before, _)| before);
    }
    let below = |one: &String| match there {
        "" => !one.contains('.'),
        there => one
            .strip_prefix(there)
            .and_then(|rest| rest.strip_prefix('.'))
            .is_some_and(|rest| !rest.contains('.')),
    };
    let next: Vec<String> =
        all.iter().filter(|one| below(one)).take(20).map(|one| format!("`{one}`")).collect();
    let places = if next.is_empty() {
        "nothing stands below it".to_string()
    } else {
        format!("there are {}", next.join(", "))
    };
    if facet { format!("`{head}` is what is compared, no key of the file; {places}") } else { places }
}

/// The routes of all keys and entries, entries by their name where they have one.
fn routes(value: &Value, at: String, all: &mut Vec<String>) {
    let below = |step: &str| if at.is_empty() { step.to_string() } else { format!("{at}.{step}") };
    match value {
        Value::Mapping(map) => {
            for (key, value) in map {
                let Some(key) = key.as_str() else { continue };
                all.push(below(key));
                routes(value, below(key), all);
            }
        }
        Value::Sequence(list) => {
            for (place, value) in list.iter().enumerate() {
                let name = ["id", "name"].iter().find_map(|key| value.get(key)).and_then(Value::as_str);
                let step = name.map_or_else(|| (place + 1).to_string(), |name| name.replace(' ', "-"));
                all.push(below(&step));
                routes(value, below(&step), all);
            }
        }
        _ => {}
    }
}
