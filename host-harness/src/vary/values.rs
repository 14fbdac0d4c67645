//! The values that a setting is to have.

use num_traits::{CheckedAdd, CheckedDiv, CheckedMul, CheckedSub, Signed, Zero};

use super::known::{Known, What};
use super::{MOST_POINTS, VaryError};
use crate::decimal::{Dimension, Exact, Quantity, exact_text, parse_quantity};
use crate::nearest::nearest;

/// Reads a list of values and ranges for one setting.
pub(super) fn read(text: &str, of: &Known) -> Result<Vec<String>, VaryError> {
    let refuse = |why: String| VaryError(format!("--vary {}: {why}", of.path));
    let mut values: Vec<(Option<Exact>, String)> = Vec::new();
    for item in text.split(',').map(str::trim) {
        if item.is_empty() {
            return Err(refuse(
                "a value is missing; write values with their units between commas, for example \"1 mm, 2 mm\""
                    .to_owned(),
            ));
        }
        let more = item_values(item, &of.what).map_err(&refuse)?;
        if values.len() + more.len() > MOST_POINTS {
            return Err(refuse(format!("more than {MOST_POINTS} values; take a longer step")));
        }
        values.extend(more);
    }
    for (place, (exact, value)) in values.iter().enumerate() {
        let is_same = |(other, text): &&(Option<Exact>, String)| match (other, exact) {
            (Some(other), Some(exact)) => other == exact,
            _ => text == value,
        };
        // Ranges rise, so that only a list can repeat itself: short enough to look at all pairs.
        if text.contains(',')
            && let Some((_, first)) = values[..place].iter().find(is_same)
        {
            let also = if first == value { String::new() } else { format!(", as `{first}`") };
            return Err(refuse(format!("`{value}` is there twice{also}; name each value once")));
        }
    }
    Ok(values.into_iter().map(|(_, value)| value).collect())
}

fn item_values(item: &str, what: &What) -> Result<Vec<(Option<Exact>, String)>, String> {
    let dimension = match what {
        What::Quantity(dimension) => *dimension,
        What::Word(words) => {
            if words.contains(&item) {
                return Ok(vec![(None, item.to_owned())]);
            }
            let meant = nearest(item, words.iter().copied());
            let advice = meant.map_or_else(String::new, |word| format!("did you mean `{word}`? "));
            return Err(format!("cannot be `{item}`; {advice}it may be {}", words.join(" or ")));
        }
    };
    match item.split_once("..") {
        Some((from, rest)) => range(from, rest, dimension),
        None => quantity(item, dimension).map(|one| vec![(Some(one.value), item.to_owned())]),
    }
}

fn quantity(text: &str, dimension: Dimension) -> Result<Quantity, String> {
    parse_quantity(text, dimension)
        .map_err(|error| format!("`{}`: {error}; {}", text.trim(), error.way_out()))
}

/// `FROM..TO step STEP`, both ends included.
fn range(from: &str, rest: &str, dimension: Dimension) -> Result<Vec<(Option<Exact>, String)>, String> {
    let whole = || format!("{}..{}", from.trim(), rest.trim());
    let Some((to, step)) = rest.split_once("step") else {
        let sample = dimension.sample();
        return Err(format!(
            "the range `{}` has no step; write it behind, for example: step {sample}",
            whole()
        ));
    };
    let [from, to, step] = [quantity(from, dimension)?, quantity(to, dimension)?, quantity(step, dimension)?];
    if step.value.is_negative() || step.value.is_zero() {
        return Err(format!("the step of `{}` is not above zero; write a positive one", whole()));
    }
    if to.value < from.value {
        return Err(format!("the range `{}` ends before it begins; exchange its ends", whole()));
    }
    let too_long =
        || format!("the values of `{}` have more digits than can be held exactly; write fewer", whole());
    let too_many =
        || format!("the range `{}` has more than {MOST_POINTS} values; take a longer step", whole());
    // Counted in the unit of the first, so that the values read as somebody would have typed them.
    let unit = from.unit;
    let steps = to
        .value
        .checked_sub(&from.value)
        .and_then(|long| long.checked_div(&step.value))
        .ok_or_else(too_long)?;
    let steps =
        usize::try_from(steps.to_integer()).ok().filter(|steps| *steps < MOST_POINTS).ok_or_else(too_many)?;
    (0..=steps)
        .map(|place| {
            let times = Exact::from_integer(i128::try_from(place).ok()?);
            let value = from.value.checked_add(&step.value.checked_mul(&times)?)?;
            let number = value.checked_div(&unit.in_base)?;
            Some((Some(value), format!("{} {}", exact_text(&number), unit.symbol)))
        })
        .collect::<Option<_>>()
        .ok_or_else(too_long)
}
