//! How far weighed pieces are off their prediction, against what the ledger lets pass.
//!
//! A piece is held to the prediction that was kept when it was built, never to that of now: a change of the
//! recipe since is no fault of the piece.

use super::Ledger;
use super::ranges::{MEND_FIGURE, NOT_NEGATIVE, POSITIVE, refuse, within};
use super::sink::Sink;
use crate::quantity::Fraction;
use crate::record::{Condition, Disposition, StageLimits, Weighing, WeighingRules};

/// What wants words where the ledger says nothing. Common practice, no source: two or three per cent pass.
const EXPLAIN: f64 = 0.03;
/// What holds a piece where the ledger says nothing. Common practice, no source.
const HOLD: f64 = 0.05;
/// One deviation from piece to piece. Common practice, no source.
const SCATTER: f64 = 0.01;
/// One deviation of a reading: a scale is chosen to read a thousandth of the part. Common practice, no source.
const SCALE: f64 = 0.001;
/// Rounding of the arithmetic, so that a piece just at a limit is within it.
const ROUNDING: f64 = 1e-9;

/// How far off a piece may be at one stage, as shares of its prediction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Beyond it words are wanted.
    pub explain: f64,
    /// Beyond it the piece is on hold.
    pub hold: f64,
}

impl Limits {
    /// Returns what the ledger lets pass at a stage; where it says nothing, 3 and 5 % (common practice, no
    /// source).
    pub fn of(ledger: &Ledger, stage: Condition) -> Self {
        Self::by(rules(ledger), stage)
    }

    /// As [`Limits::of`], by the rules of a head.
    pub(crate) fn by(rules: Option<&WeighingRules>, stage: Condition) -> Self {
        let own = rules.and_then(|rules| at_stage(rules, stage));
        let one = |own: Option<&Fraction>, all: Option<&Fraction>, usual| {
            own.or(all).map_or(usual, |share| share.si())
        };
        let explain = one(
            own.and_then(|own| own.explain.as_ref()),
            rules.and_then(|rules| rules.explain.as_ref()),
            EXPLAIN,
        );
        let hold =
            one(own.and_then(|own| own.hold.as_ref()), rules.and_then(|rules| rules.hold.as_ref()), HOLD);
        // A programme that asks for words only far out, and names no hold, means no hold nearer than that.
        Self { explain, hold: hold.max(explain) }
    }

    /// Returns the stricter of both.
    pub fn stricter(self, other: Self) -> Self {
        Self { explain: self.explain.min(other.explain), hold: self.hold.min(other.hold) }
    }
}

/// How closely pieces and the scale are known, as one standard deviation over the predicted mass.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Closeness {
    /// From piece to piece, of what is added at a stage.
    pub scatter: f64,
    /// A reading of the scale.
    pub scale: f64,
}

impl Closeness {
    /// Returns what the ledger says; where it says nothing, 1 and 0.1 % (common practice, no source).
    pub fn of(ledger: &Ledger) -> Self {
        let rules = rules(ledger);
        let one = |share: Option<&Fraction>, usual| share.map_or(usual, |share| share.si());
        Self {
            scatter: one(rules.and_then(|rules| rules.scatter.as_ref()), SCATTER),
            scale: one(rules.and_then(|rules| rules.scale.as_ref()), SCALE),
        }
    }
}

fn rules(ledger: &Ledger) -> Option<&WeighingRules> {
    ledger.head.as_ref()?.weighing.as_ref()
}

fn at_stage(rules: &WeighingRules, stage: Condition) -> Option<&StageLimits> {
    match stage {
        Condition::Trimmed => rules.trimmed.as_ref(),
        Condition::Bare => rules.bare.as_ref(),
        Condition::Primed => rules.primed.as_ref(),
        Condition::Painted => rules.painted.as_ref(),
    }
}

/// What a weighing means for its piece.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// As near to the prediction as the ledger asks.
    Within,
    /// Further off, and the record says why.
    Explained,
    /// Further off, and nothing says why.
    ToExplain,
    /// So far off that a disposition is wanted.
    OnHold,
    /// So far off, and disposed.
    Disposed,
    /// The record keeps no prediction that the piece could be held to.
    NotJudged,
}

impl Standing {
    /// Returns the word for it.
    pub fn word(self) -> &'static str {
        match self {
            Standing::Within => "within",
            Standing::Explained => "explained",
            Standing::ToExplain => "to-explain",
            Standing::OnHold => "on-hold",
            Standing::Disposed => "disposed",
            Standing::NotJudged => "not-judged",
        }
    }
}

/// What is written of a weighing's condition; painted where nothing is.
pub fn stage(weighing: &Weighing) -> Condition {
    weighing.condition.unwrap_or(Condition::Painted)
}

/// Returns the residual of a weighing as a share of the prediction kept when the piece was built; `None` where
/// none was kept.
pub fn share_off(weighing: &Weighing) -> Option<f64> {
    let predicted = weighing.as_built.as_ref()?.predicted.as_ref()?.si();
    (predicted > 0.0).then(|| (weighing.mass.si() - predicted) / predicted)
}

/// Judges a weighing by limits.
pub fn standing(weighing: &Weighing, limits: Limits) -> Standing {
    let said = |text: &String| !text.trim().is_empty();
    let Some(off) = share_off(weighing) else { return Standing::NotJudged };
    if off.abs() > limits.hold + ROUNDING {
        let disposed = weighing.disposition.as_ref().is_some_and(|own| said(&own.cause));
        return if disposed { Standing::Disposed } else { Standing::OnHold };
    }
    if off.abs() > limits.explain + ROUNDING {
        // What was decided of a piece says more than words of its weight.
        let told = weighing.explained.as_ref().is_some_and(said) || weighing.disposition.is_some();
        return if told { Standing::Explained } else { Standing::ToExplain };
    }
    Standing::Within
}

/// The piece that was on the scale, in words.
pub fn piece(id: &str, weighing: &Weighing) -> String {
    match &weighing.serial {
        Some(serial) => format!("piece `{serial}` of panel `{}`", weighing.panel.id()),
        None => format!("the piece of weighing/{id}, of panel `{}`", weighing.panel.id()),
    }
}

/// A share in per cent with its sign, such as `+4.0 %`.
pub fn percent(share: f64) -> String {
    format!("{:+.1} %", share * 100.0)
}

/// A limit in per cent, with no more digits than it was written with.
pub fn limit_percent(share: f64) -> String {
    // Shares such as 0.03 are 3.0000000000000004 in a hundred.
    format!("{} %", (share * 1e8).round() / 1e6)
}

/// Rules on what a weighing says of its piece.
pub(super) fn check(ledger: &Ledger, sink: &mut Sink, id: &str, weighing: &Weighing) {
    if weighing.explained.as_ref().is_some_and(|text| text.trim().is_empty()) {
        sink.error("no-cause", "explained", "an explanation says nothing")
            .label("no words")
            .help("write why the piece is off its prediction, or take `explained` out");
    }
    disposition(sink, weighing.disposition.as_ref());
    let Some(off) = share_off(weighing) else { return };
    let stage = stage(weighing);
    let limits = Limits::of(ledger, stage);
    let piece = piece(id, weighing);
    match standing(weighing, limits) {
        Standing::ToExplain => {
            let limit = limit_percent(limits.explain);
            sink.warning(
                "unexplained-residual",
                "mass",
                format!("{piece} is {} off its prediction when {stage}: beyond {limit} it wants words", percent(off)),
            )
            .label("off its prediction")
            .help("write `explained:` with what was found: the areas, the thickness of plies and core, the resin content, the films of paint; or correct the figure");
        }
        Standing::OnHold => {
            let limit = limit_percent(limits.hold);
            sink.warning(
                "piece-on-hold",
                "mass",
                format!("{piece} is on hold: {} off its prediction when {stage}, beyond {limit}", percent(off)),
            )
            .label("off its prediction")
            .help("weigh it again and measure what it is made of, then write `disposition: {cause: .., by: .., on: DAY}`; or correct the figure");
        }
        Standing::Within | Standing::Explained | Standing::Disposed | Standing::NotJudged => {}
    }
}

fn disposition(sink: &mut Sink, own: Option<&Disposition>) {
    if own.is_some_and(|own| own.cause.trim().is_empty()) {
        sink.error("no-cause", "disposition.cause", "a disposition names no cause")
            .label("no cause")
            .help("write what made the piece heavier or lighter, or take the disposition out: without a cause it stays on hold");
    }
}

/// Rules on what the ledger holds weighings to.
pub(super) fn rules_of_head(sink: &mut Sink, rules: Option<&WeighingRules>) {
    let Some(rules) = rules else { return };
    let levels = [
        ("weighing", rules.explain.as_ref(), rules.hold.as_ref()),
        of_stage("weighing.trimmed", rules.trimmed.as_ref()),
        of_stage("weighing.bare", rules.bare.as_ref()),
        of_stage("weighing.primed", rules.primed.as_ref()),
        of_stage("weighing.painted", rules.painted.as_ref()),
    ];
    for (at, explain, hold) in levels {
        within(sink, POSITIVE, &format!("{at}.explain"), explain.map(|share| &**share));
        within(sink, POSITIVE, &format!("{at}.hold"), hold.map(|share| &**share));
        let explain = explain.or(rules.explain.as_ref());
        if let (Some(explain), Some(hold)) = (explain, hold)
            && hold.si() < explain.si()
        {
            refuse(
                sink,
                &format!("{at}.hold"),
                &format!("`{}` is out of range", hold.text()),
                &format!("a piece is held no nearer than words are wanted, at {}", explain.text()),
                MEND_FIGURE,
            );
        }
    }
    within(sink, NOT_NEGATIVE, "weighing.scatter", rules.scatter.as_deref());
    within(sink, POSITIVE, "weighing.scale", rules.scale.as_deref());
}

type Level<'a> = (&'static str, Option<&'a Fraction>, Option<&'a Fraction>);

fn of_stage<'a>(at: &'static str, own: Option<&'a StageLimits>) -> Level<'a> {
    (at, own.and_then(|own| own.explain.as_ref()), own.and_then(|own| own.hold.as_ref()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(mass: &str, more: &str) -> Weighing {
        let text = format!("panel: p\nmass: {mass}\n{more}");
        serde_yaml::from_str(&text).unwrap()
    }

    fn told(mass: &str, more: &str) -> &'static str {
        let weighing = one(mass, &format!("as_built: {{predicted: 10 kg}}\n{more}"));
        standing(&weighing, Limits { explain: 0.03, hold: 0.06 }).word()
    }

    /// By hand, of 10 kg: 3 % is 0.3 kg, 6 % is 0.6 kg; just at a limit is within it.
    #[test]
    fn pieces_stand_by_how_far_they_are_off() {
        for (mass, expected) in [
            ("10 kg", "within"),
            ("10.3 kg", "within"),
            ("9.7 kg", "within"),
            ("10.301 kg", "to-explain"),
            ("9.699 kg", "to-explain"),
            ("10.6 kg", "to-explain"),
            ("10.601 kg", "on-hold"),
            ("9.3 kg", "on-hold"),
        ] {
            assert_eq!(told(mass, ""), expected, "{mass}");
        }
        let words = "explained: thick bond lines\n";
        let decided = "disposition: {cause: wrong kit, by: MRB, on: 2026-05-01}\n";
        assert_eq!((told("10.4 kg", words), told("10.4 kg", decided)), ("explained", "explained"));
        // Words alone take nothing off hold.
        assert_eq!((told("11 kg", words), told("11 kg", decided)), ("on-hold", "disposed"));
        assert_eq!(standing(&one("11 kg", ""), Limits { explain: 0.0, hold: 0.0 }), Standing::NotJudged);
    }

    fn limits(text: &str, stage: Condition) -> (f64, f64) {
        let rules: WeighingRules = serde_yaml::from_str(text).unwrap();
        let Limits { explain, hold } = Limits::by(Some(&rules), stage);
        (explain, hold)
    }

    #[test]
    fn a_stage_has_its_own_limits_or_those_of_all() {
        assert_eq!(limits("{}", Condition::Bare), (0.03, 0.05));
        let text = "{explain: 2 %, hold: 6 %, primed: {hold: 8 %}}";
        assert_eq!(limits(text, Condition::Primed), (0.02, 0.08));
        assert_eq!(limits(text, Condition::Painted), (0.02, 0.06));
        assert_eq!(limits("{explain: 10 %}", Condition::Painted), (0.10, 0.10));
    }

    #[test]
    fn limits_are_written_as_they_were() {
        assert_eq!([0.03, 0.055, 0.07].map(limit_percent), ["3 %", "5.5 %", "7 %"]);
    }
}
