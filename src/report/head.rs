//! What every report says about itself, and the cautions that go with it.

use crate::qualify::table::Table;
use crate::record::Day;
use serde_json::{Value, json};

/// The caution at the foot of every impact, gaps and duty.
pub const CAUTION_LINE: &str = "An engineering aid, not approved data and not a finding of compliance. \
     \"None\" means only that no rule asked for more. If a result surprises you, ask before cutting \
     material or flying.";

/// The cautions in full, for pages and the README.
pub const CAUTIONS: &[&str] = &[
    "This is an engineering aid. What it prints is not approved data, not a finding of compliance and not a \
     release to fly or to service.",
    "Rules, windows and sample sizes are judgement that can be edited; each shows its source. Somebody \
     qualified has to accept them for this programme and its authority.",
    "\"None\", \"met\" and \"carried over\" mean only that no rule in this tool asked for more. That nothing \
     was found is no proof that it is safe.",
    "The state of a test is what somebody typed in. The tool cannot tell whether the article conformed, \
     whether the report was accepted, or whose signature it bears. A commit signature is not a certification \
     signature.",
    "Design values from too few batches are estimates and must not be designed with. Nothing holds outside \
     the temperatures, moisture, thicknesses, films and stacks that were tested.",
    "Weeks and cost are estimates from the rates in the records; made-up rates give made-up sums.",
    "Skin temperatures, thermal stresses, stiffness and moisture are screening calculations with simple \
     physics. They replace no measurement.",
    "Hours in a weathering cabinet are not years outdoors.",
    "The approved design organisation, the authority and local rules decide. Where the law keeps engineering \
     to licensed or authorised persons they stay responsible, and sign outside this tool.",
    "When such a structure fails people can die. If a result surprises you, stop and ask stress, \
     certification and the test laboratory before anyone cuts material or flies.",
];

/// The head of a report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReportHead {
    /// Version of the tool.
    pub version: &'static str,
    /// Number and short digest of the sensitivity table; `None` where it cannot be read.
    pub table: Option<(u32, String)>,
    /// The commit that the report is about; `None` for a work tree or the index.
    pub commit: Option<String>,
    /// The day that it was asked for.
    pub date: Day,
    /// How many assumptions there are.
    pub assumptions: usize,
    /// How many concessions are live.
    pub concessions: usize,
}

impl ReportHead {
    /// Returns the head of a report by this version with its own table.
    pub fn new(commit: Option<String>, date: Day, assumptions: usize, concessions: usize) -> Self {
        let table = Table::built_in().ok().map(|table| (table.number, table.short_digest().to_string()));
        Self { version: env!("CARGO_PKG_VERSION"), table, commit, date, assumptions, concessions }
    }

    /// Returns the head as one sentence.
    pub fn line(&self) -> String {
        let table = match &self.table {
            Some((number, digest)) => format!("table {number} ({digest})"),
            None => "no table".to_string(),
        };
        let commit = match &self.commit {
            Some(commit) => format!("commit {commit}"),
            None => "as it stands, not a commit".to_string(),
        };
        format!(
            "bondline {}, {table}, {commit}, {}; {}, {}",
            self.version,
            self.date,
            super::page::count(self.assumptions, "assumption"),
            super::page::count(self.concessions, "live concession"),
        )
    }

    /// Returns the head wrapped for a terminal, every line ended.
    pub fn text(&self, width: usize) -> String {
        let mut text = super::page::fold(&self.line(), width.max(40)).join("\n");
        text.push('\n');
        text
    }

    /// Returns the head as JSON.
    pub fn json(&self) -> Value {
        json!({
            "version": self.version,
            "table": self.table.as_ref().map(|(number, _)| number),
            "table_digest": self.table.as_ref().map(|(_, digest)| digest),
            "commit": self.commit,
            "date": self.date.to_string(),
            "assumptions": self.assumptions,
            "live_concessions": self.concessions,
        })
    }

    /// Adds the head to a document, under `report`.
    pub fn add_to(&self, mut document: Value) -> Value {
        if let Some(map) = document.as_object_mut() {
            map.insert("report".to_string(), self.json());
        }
        document
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_head_names_what_a_reader_must_know() {
        let day = Day::parse("2026-03-14").unwrap();
        let head = ReportHead::new(Some("0123abcd".into()), day, 3, 1);
        let table = Table::built_in().unwrap();
        let expected = format!(
            "bondline {}, table {} ({}), commit 0123abcd, 2026-03-14; 3 assumptions, 1 live concession",
            env!("CARGO_PKG_VERSION"),
            table.number,
            table.short_digest()
        );
        assert_eq!(head.line(), expected);
        assert!(head.text(60).lines().all(|line| line.chars().count() <= 60));
        let with = head.add_to(json!({ "schema": "x/1" }));
        let keys: Vec<&str> = with["report"].as_object().unwrap().keys().map(String::as_str).collect();
        let wanted =
            ["version", "table", "table_digest", "commit", "date", "assumptions", "live_concessions"];
        assert_eq!(keys, wanted);
        assert_eq!(with["schema"], "x/1");
        assert!(ReportHead::new(None, day, 0, 0).line().contains("as it stands, not a commit"));
    }

    #[test]
    fn the_cautions_say_what_has_to_be_said() {
        let all = CAUTIONS.join(" ");
        for must in ["not approved data", "not a certification signature", "estimates", "authority", "die"] {
            assert!(all.contains(must), "{must}");
        }
        assert!(CAUTION_LINE.contains("not approved data") && CAUTION_LINE.contains("not a finding"));
        assert!(!CAUTIONS.iter().any(|one| one.contains("  ")) && !CAUTION_LINE.contains("  "));
    }
}
