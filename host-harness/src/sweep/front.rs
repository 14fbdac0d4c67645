//! Which points no other beats in all.

/// What a point is judged by, less being better in each: nuisances, misses, reaction time, the two travels, how far apart sources get, the
/// distance of an approach, and how late expected trips came. What nothing bounds is worse than anything that is.
pub(super) type Price = [u64; 8];

/// Of each point whether it is on the front: no other is as good in all and better in one. `None` of a point that has no price.
pub(super) fn front<const N: usize>(prices: &[Option<[u64; N]>]) -> Vec<bool> {
    let beats = |one: &[u64; N], other: &[u64; N]| {
        one != other && one.iter().zip(other).all(|(one, other)| one <= other)
    };
    let mut kept: Vec<[u64; N]> = prices.iter().flatten().copied().collect();
    kept.sort_unstable();
    kept.dedup();
    // Sorted, none is beaten by a later one, and what a beaten one beats is beaten by its better, too.
    let mut best: Vec<[u64; N]> = Vec::new();
    for price in kept {
        if !best.iter().any(|better| beats(better, &price)) {
            best.push(price);
        }
    }
    prices.iter().map(|price| price.is_some_and(|price| best.binary_search(&price).is_ok())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_point_is_on_the_front_when_no_other_is_as_good_in_all_and_better_in_one() {
        let prices = [
            [0, 2, 5, 5, 1],
            [1, 1, 5, 5, 1],
            [1, 2, 5, 5, 1],
            [0, 2, 5, 5, 1],
            [3, 0, 9, 9, 1],
            [3, 0, 9, 9, 2],
            [0, 2, 6, 4, 1],
        ];
        let expected = [true, true, false, true, true, false, true];
        assert_eq!(front(&prices.map(Some)), expected);
    }

    #[test]
    fn a_point_without_a_price_is_not_on_the_front_and_beats_none() {
        assert_eq!(front(&[None, Some([1, 1, u64::MAX, 0, 0]), Some([1, 1, 3, 0, 0])]), [false, false, true]);
        assert_eq!(front::<5>(&[]), Vec::<bool>::new());
    }

    #[test]
    fn the_front_is_the_one_of_its_definition_on_every_small_set_of_prices() {
        let all: Vec<[u64; 5]> =
            (0..16).map(|bits: u64| [bits & 1, bits >> 1 & 1, 7, bits >> 2 & 1, bits >> 3]).collect();
        for chosen in 0_u32..1 << 12 {
            let set: Vec<Option<[u64; 5]>> = all
                .iter()
                .take(12)
                .enumerate()
                .map(|(i, price)| (chosen >> i & 1 == 1).then_some(*price))
                .collect();
            let by_definition = |price: &Option<[u64; 5]>| {
                price.is_some_and(|price| {
                    !set.iter().flatten().any(|other| {
                        (0..5).all(|i| other[i] <= price[i]) && (0..5).any(|i| other[i] < price[i])
                    })
                })
            };
            assert_eq!(front(&set), set.iter().map(by_definition).collect::<Vec<_>>());
        }
    }
}
