//! Tables over the whole ledger: clauses, days, assumptions.

use super::Inputs;
use super::known::Known;
use super::tables::Page;
use crate::article::ArticleError;
use crate::qualify::assumed;
use crate::qualify::gaps::live_concessions;
use crate::qualify::trial::TrialState;
use crate::qualify::verdict::Verdict;
use crate::record::EvidenceState;
use crate::report::page::count;
use rayon::prelude::*;
use serde_json::{Map, Value, json};
use std::collections::{BTreeMap, BTreeSet};

/// Rows of a page: more would make it heavy.
const ROWS: usize = 300;
/// Pages of one table; nobody leafs through more. What is beyond is counted and left to the command.
const PAGES: usize = 12;

/// Which table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Register {
    /// The compliance list.
    Clauses,
    /// Readings that are due, and what ends.
    Calendar,
    /// Figures that stand on no evidence.
    Assumptions,
}

impl Register {
    /// All, as they are offered.
    pub const ALL: [Self; 3] = [Self::Clauses, Self::Calendar, Self::Assumptions];

    fn word(self) -> &'static str {
        match self {
            Self::Clauses => "clauses",
            Self::Calendar => "calendar",
            Self::Assumptions => "assumptions",
        }
    }

    fn template(self) -> &'static str {
        match self {
            Self::Clauses => "clauses.html",
            Self::Calendar => "calendar.html",
            Self::Assumptions => "assumptions.html",
        }
    }

    fn title(self) -> &'static str {
        match self {
            Self::Clauses => "Clause by clause",
            Self::Calendar => "Readings and expiries",
            Self::Assumptions => "Assumptions",
        }
    }

    /// Returns the path of a page.
    pub(super) fn file(self, page: usize) -> String {
        match page {
            0 => format!("{}.html", self.word()),
            n => format!("{}-{}.html", self.word(), n + 1),
        }
    }
}

/// One table, whole.
struct Table {
    opening: String,
    /// Those that pages show.
    rows: Vec<Value>,
    /// How many there are.
    of: usize,
    /// What a filter offers: name, label, words.
    sieves: Value,
    /// What the first page says beside.
    beside: Vec<Value>,
}

/// All tables.
pub(super) struct Registers {
    tables: [Table; 3],
    /// How many assumptions there are; `None` where they can't be listed.
    pub assumptions: Option<usize>,
}

impl Registers {
    /// Works the tables out.
    pub fn of(inputs: &Inputs<'_>, known: &Known<'_>, assumed: Assumed<'_>) -> Self {
        let count = assumed.as_ref().ok().map(Vec::len);
        let tables = [clauses(inputs), calendar(inputs, known), assumptions(assumed)];
        Self { tables, assumptions: count }
    }

    fn table(&self, which: Register) -> &Table {
        let [clauses, calendar, assumptions] = &self.tables;
        match which {
            Register::Clauses => clauses,
            Register::Calendar => calendar,
            Register::Assumptions => assumptions,
        }
    }

    /// Returns how many pages a table has.
    pub fn pages(&self, which: Register) -> usize {
        self.table(which).rows.len().div_ceil(ROWS).clamp(1, PAGES)
    }

    /// Returns template, title and context of one page of a table.
    pub fn context(&self, which: Register, page: usize) -> (&'static str, String, Page) {
        let own = self.table(which);
        let rows: Vec<&Value> = own.rows.iter().skip(page * ROWS).take(ROWS).collect();
        let pages: Vec<Value> = (0..self.pages(which))
            .map(|at| json!({ "file": which.file(at), "number": at + 1, "here": at == page }))
            .collect();
        let beside = if page == 0 { own.beside.as_slice() } else { &[] };
        let map = [
            ("opening", json!(own.opening)),
            ("rows", json!(rows)),
            ("sieves", own.sieves.clone()),
            ("pages", json!(pages)),
            ("left", json!(own.of.saturating_sub(ROWS * PAGES))),
            ("beside", json!(beside)),
        ];
        let map: Map<String, Value> =
            map.into_iter().map(|(name, value)| (name.to_string(), value)).collect();
        (which.template(), which.title().to_string(), map.into())
    }
}

/// Words that a filter offers, as rows name them.
fn sieve<'w>(name: &str, label: &str, words: impl IntoIterator<Item = &'w str>) -> Value {
    json!({ "name": name, "label": label, "words": words.into_iter().collect::<Vec<_>>() })
}

/// The compliance list: clause by clause what answers it, by which means, and how far that is.
fn clauses(inputs: &Inputs<'_>) -> Table {
    let mut counts: BTreeMap<&str, BTreeMap<&str, usize>> = BTreeMap::new();
    let mut reports: BTreeMap<&str, BTreeSet<String>> = BTreeMap::new();
    for ((showing, _), duty) in &inputs.evaluation.duties {
        *counts.entry(showing).or_default().entry(duty.verdict().word()).or_default() += 1;
        let behind = duty.panels.values().flat_map(|judged| &judged.evidence);
        let named = behind.filter_map(|id| {
            Some(inputs.ledger.evidence.get(id.as_str())?.value.report.as_ref()?.to_string())
        });
        reports.entry(showing).or_default().extend(named);
    }
    let mut rows: Vec<(String, Value)> = Vec::new();
    for (id, entry) in &inputs.ledger.showings {
        let own = &entry.value;
        let counted = counts.get(id.as_str());
        let verdicts: Vec<Value> = Verdict::ALL
            .iter()
            .filter_map(|verdict| {
                let n = counted.and_then(|own| own.get(verdict.word())).copied().filter(|n| *n > 0)?;
                Some(json!({ "word": verdict.word(), "n": n }))
            })
            .collect();
        let row = |clause: &str| {
            json!({
                "clause": clause,
                "showing": id,
                "title": own.title,
                "kind": own.kind.to_string(),
                "means": own.means.iter().map(ToString::to_string).collect::<Vec<_>>(),
                "method": own.method.as_ref().map(ToString::to_string),
                "needed_by": own.needed_by.as_ref().map(ToString::to_string),
                "verdicts": verdicts,
                "words": verdicts.iter().filter_map(|one| one.get("word")?.as_str()).collect::<Vec<_>>().join(" "),
                "reports": reports.get(id.as_str()),
            })
        };
        let clauses: Vec<String> = own.clause.iter().map(ToString::to_string).collect();
        if clauses.is_empty() {
            rows.push((String::new(), row("")));
        }
        rows.extend(clauses.iter().map(|clause| (clause.clone(), row(clause))));
    }
    rows.sort_by(|one, two| (one.0.is_empty(), &one.0).cmp(&(two.0.is_empty(), &two.0)));
    let named: BTreeSet<&String> =
        rows.iter().map(|(clause, _)| clause).filter(|clause| !clause.is_empty()).collect();
    let opening = format!(
        "{} answered by {}.",
        count(named.len(), "clause"),
        count(inputs.ledger.showings.len(), "showing")
    );
    Table {
        opening,
        of: rows.len(),
        rows: rows.into_iter().map(|(_, row)| row).collect(),
        sieves: json!([sieve("verdicts", "Verdict", Verdict::ALL.map(Verdict::word))]),
        beside: Vec::new(),
    }
}

/// Says which trials have readings beyond a limit and still run: no verdict shows it before they end.
pub(super) fn early_failures(known: &Known<'_>) -> Option<String> {
    let of = |own: &TrialState| {
        let (first, rest) = own.breaches.split_first().filter(|_| own.state == EvidenceState::Running)?;
        let more = if rest.is_empty() { String::new() } else { format!(" and {} more", rest.len()) };
        Some(format!("{}, {}{more}", own.evidence, first.words()))
    };
    let all: Vec<String> = known.trials().filter_map(of).collect();
    (!all.is_empty())
        .then(|| format!("Beyond a limit already, while the trial still runs: {}.", all.join("; ")))
}

/// What is due and what ends, by day.
fn calendar(inputs: &Inputs<'_>, known: &Known<'_>) -> Table {
    let mut rows: Vec<(String, Value)> = Vec::new();
    let mut undated = Vec::new();
    for trial in known.trials() {
        for due in &trial.due {
            let what: Vec<String> = due.missing.iter().map(|(property, _)| property.clone()).collect();
            let row = |state: &str| {
                json!({
                    "on": due.on.map(|day| day.to_string()),
                    "what": format!("reading after {}: {}", due.exposure, what.join(", ")),
                    "kind": "evidence",
                    "id": trial.evidence,
                    "word": state,
                    "state": state,
                })
            };
            match due.on {
                Some(on) => rows.push((on.to_string(), row(if due.overdue { "overdue" } else { "due" }))),
                None => undated.push(row("no day")),
            }
        }
    }
    let live: BTreeSet<&str> = live_concessions(inputs.ledger, inputs.today).into_iter().collect();
    for (id, entry) in &inputs.ledger.concessions {
        let until = entry.value.until;
        let (word, state) = match live.contains(id.as_str()) {
            true => ("live", "live"),
            false if until < inputs.today => ("over", "over"),
            false => ("not approved", "not approved yet"),
        };
        rows.push((
            until.to_string(),
            json!({
                "on": until.to_string(),
                "what": format!("concession {id} ends"),
                "kind": "showing",
                "id": entry.value.showing.id(),
                "word": word,
                "state": state,
            }),
        ));
    }
    rows.sort_by(|one, two| one.0.cmp(&two.0));
    let overdue =
        rows.iter().filter(|(_, row)| row.get("state").and_then(Value::as_str) == Some("overdue")).count();
    let today = inputs.today.to_string();
    let opening = match (rows.is_empty(), overdue) {
        (true, _) => "Nothing is due, and no concession ends.".to_string(),
        (false, 0) => format!("Nothing is overdue on {today}."),
        (false, 1) => format!("One reading is overdue on {today}."),
        (false, n) => format!("{n} readings are overdue on {today}."),
    };
    let opening = match early_failures(known) {
        Some(early) => format!("{opening} {early}"),
        None => opening,
    };
    let words: BTreeSet<&str> =
        rows.iter().filter_map(|(_, row)| row.get("word").and_then(Value::as_str)).collect();
    let sieves = json!([sieve("state", "State", words)]);
    let of = rows.len();
    Table { opening, of, rows: rows.into_iter().map(|(_, row)| row).collect(), sieves, beside: undated }
}

/// Figures that stand on no evidence, or why they can't be listed.
pub(super) type Assumed<'a> = Result<Vec<assumed::Standing<'a>>, ArticleError>;

/// Figures that stand on no evidence, with what stands on them.
fn assumptions(found: Assumed<'_>) -> Table {
    let (mut rows, problem) = match found {
        Ok(found) => (found, None),
        Err(missing) => (Vec::new(), Some(missing.to_string())),
    };
    rows.par_sort_by(|one, two| {
        two.mass_kg
            .total_cmp(&one.mass_kg)
            .then_with(|| two.duties.len().cmp(&one.duties.len()))
            .then_with(|| one.address.cmp(&two.address))
    });
    let opening = match (problem, rows.len()) {
        (Some(problem), _) => format!("They can't be listed: {problem}."),
        (None, 0) => "Every figure in use stands on evidence or on a source of its own.".to_string(),
        (None, n) => format!(
            "{n} figures and conditions are used without evidence, those that most mass stands on first."
        ),
    };
    let shown = rows.iter().take(ROWS * PAGES).map(|one| {
        json!({
            "kind": one.kind.word(),
            "address": one.address,
            "what": one.what,
            "mass_kg": one.mass_kg,
            "duties": one.duties.len(),
            "panels": one.panels,
        })
    });
    let kinds: BTreeSet<&str> = rows.iter().map(|one| one.kind.word()).collect();
    Table {
        opening,
        of: rows.len(),
        rows: shown.collect(),
        sieves: json!([sieve("kind", "Kind", kinds)]),
        beside: Vec::new(),
    }
}
