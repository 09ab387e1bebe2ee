//! Ledgers for tests, written as one YAML text: kind folders, records by id below them.

use crate::ledger::{Entry, Ledger, Records};
use serde::de::DeserializeOwned;
use serde_yaml::Value;
use std::collections::{BTreeMap, BTreeSet};

/// Returns the ledger that the text describes; `ledger:` holds the head.
pub(crate) fn ledger(text: &str) -> Ledger {
    let all: BTreeMap<String, Value> = serde_yaml::from_str(text).unwrap();
    fn records<T: DeserializeOwned>(all: &BTreeMap<String, Value>, folder: &str) -> Records<T> {
        let Some(list) = all.get(folder) else { return Records::new() };
        let list: BTreeMap<String, Value> = serde_yaml::from_value(list.clone()).unwrap();
        list.into_iter()
            .map(|(id, value)| {
                // Through text: only there is a bare number the words that a quantity is read from.
                let text = serde_yaml::to_string(&value).unwrap();
                let value: T =
                    serde_yaml::from_str(&text).unwrap_or_else(|fault| panic!("{folder}/{id}: {fault}"));
                let value = std::sync::Arc::new(value);
                let file = format!("{folder}/{id}.yaml");
                (id.clone(), Entry { id, file, value })
            })
            .collect()
    }
    Ledger {
        today: None,
        ahead: Default::default(),
        imports: Vec::new(),
        head: all.get("ledger").map(|head| serde_yaml::from_value(head.clone()).unwrap()),
        materials: records(&all, "materials"),
        processes: records(&all, "processes"),
        tools: records(&all, "tools"),
        finishes: records(&all, "finishes"),
        recipes: records(&all, "recipes"),
        panels: records(&all, "panels"),
        assemblies: records(&all, "assemblies"),
        showings: records(&all, "showings"),
        evidence: records(&all, "evidence"),
        decisions: records(&all, "decisions"),
        concessions: records(&all, "concessions"),
        weighings: records(&all, "weighings"),
        studies: records(&all, "studies"),
        data: BTreeMap::new(),
        faults: Vec::new(),
        broken: BTreeSet::new(),
        ignored: Vec::new(),
    }
}
