//! Rules on prices: in the ledger's currency, and for a unit that the record is bought or made by.

use super::known::Known;
use super::ranges::{SCRAP, money, within};
use super::sink::Sink;
use crate::quantity::{Money, Per};
use crate::record::{Material, MaterialKind};

fn currency(known: Known<'_>) -> Option<&str> {
    known.ledger.head.as_ref()?.currency.as_ref().map(|text| text.as_str())
}

/// A material: by area, mass, length or piece, as its kind is sold.
pub(super) fn material(known: Known<'_>, sink: &mut Sink, own: &Material) {
    within(sink, SCRAP, "scrap", own.scrap.as_deref());
    money(sink, "price", own.price.as_ref(), currency(known));
    let Some(price) = &own.price else { return };
    let per = price.per();
    let (fits, wanted) = match own.kind {
        MaterialKind::Fabric | MaterialKind::Prepreg | MaterialKind::Mesh | MaterialKind::Surfacing => {
            (matches!(per, Per::Area(_) | Per::Mass(_)), "m2 or kg")
        }
        MaterialKind::Core | MaterialKind::Sheet => {
            (matches!(per, Per::Area(_) | Per::Mass(_) | Per::Volume(_)), "m2, kg or m3")
        }
        MaterialKind::Adhesive if own.areal.is_some() => {
            (matches!(per, Per::Area(_) | Per::Mass(_)), "m2 or kg")
        }
        MaterialKind::Adhesive | MaterialKind::Resin => {
            (matches!(per, Per::Mass(_) | Per::Volume(_)), "kg or l")
        }
        // What a litre weighs before it dries is not recorded.
        MaterialKind::Coating => (matches!(per, Per::Volume(_)), "l"),
        MaterialKind::Part if own.linear_mass.is_some() => {
            (matches!(per, Per::Length(_) | Per::Mass(_)), "m or kg")
        }
        MaterialKind::Part => (matches!(per, Per::Each | Per::Mass(_)), "each or kg"),
    };
    unfit(sink, fits, price, &format!("a {} is bought by {wanted}", own.kind));
}

/// A record whose price is for one use: a tool, a process, a panel.
pub(super) fn each(known: Known<'_>, sink: &mut Sink, price: Option<&Money>) {
    money(sink, "price", price, currency(known));
    if let Some(price) = price {
        unfit(sink, price.per() == Per::Each, price, "it is the price of one, without a unit");
    }
}

/// A recipe or a finish: its price is for one zone or by area.
pub(super) fn zone(known: Known<'_>, sink: &mut Sink, price: Option<&Money>) {
    money(sink, "price", price, currency(known));
    if let Some(price) = price {
        let fits = matches!(price.per(), Per::Each | Per::Area(_));
        unfit(sink, fits, price, "it is the price of one zone, or by m2");
    }
}

fn unfit(sink: &mut Sink, fits: bool, price: &Money, words: &str) {
    if fits {
        return;
    }
    sink.warning("price-unit", "price", format!("the price `{}` can't be counted: {words}", price.text()))
        .label("another unit")
        .help("write the price for a unit that it is bought by: until then it counts as missing");
}
