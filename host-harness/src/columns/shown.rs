//! Figures as they are shown.

/// A multiple of 10^-9 as a decimal without trailing zeros.
pub(super) fn decimal(billionths: i128) -> String {
    scaled(billionths, 9)
}

/// A multiple of 10^-places as a decimal without trailing zeros.
pub(super) fn scaled(value: i128, places: u32) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let digits = format!("{:0width$}", value.unsigned_abs(), width = places as usize + 1);
    let (whole, fraction) = digits.split_at(digits.len() - places as usize);
    let fraction = fraction.trim_end_matches('0');
    let mark = if fraction.is_empty() { "" } else { "." };
    format!("{sign}{whole}{mark}{fraction}")
}

/// A float in the fewest digits that stand for no other one.
pub(super) fn float(number: f64) -> String {
    let text = format!("{number:?}");
    text.strip_suffix(".0").map_or(text.clone(), str::to_owned)
}

/// A text in so many characters at the most; `~` stands for what is cut.
pub(super) fn cut(text: &str, most: usize) -> String {
    if text.chars().count() <= most {
        return text.to_owned();
    }
    let kept: String = text.chars().take(most.saturating_sub(1)).collect();
    kept + "~"
}

/// A number in so many characters at the most, rounded where it must be, which `~` in front says.
pub(super) fn short(number: &str, most: usize) -> String {
    if number.chars().count() <= most {
        return number.to_owned();
    }
    // For the eye only: what is exact is in the JSON.
    let Some(value) = number.replace(',', ".").parse::<f64>().ok().filter(|value| value.is_finite()) else {
        return cut(number, most);
    };
    let fits = |text: String| (text.chars().count() < most).then(|| format!("~{text}"));
    let plain = (0..most).rev().find_map(|places| fits(format!("{value:.places$}")));
    // Digits are worth more than the plain way of writing.
    let small = value.abs() < 1e-3;
    let power = (0..most).rev().find_map(|places| fits(format!("{value:.places$e}")));
    plain.filter(|_| !small).or(power).unwrap_or_else(|| cut(number, most))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_have_no_trailing_zeros() {
        for (billionths, text) in
            [(0, "0"), (62_500, "0.0000625"), (-1_500_000_000, "-1.5"), (10_000_000_000, "10")]
        {
            assert_eq!(decimal(billionths), text);
        }
        assert_eq!((scaled(-125, 2), scaled(7, 0)), ("-1.25".to_owned(), "7".to_owned()));
        assert_eq!((float(3.0), float(0.1), float(1e300)), ("3".into(), "0.1".into(), "1e300".into()));
    }

    #[test]
    fn a_long_number_is_rounded_and_says_so() {
        for (number, shown) in [
            ("1234567890", "1234567890"),
            ("0.10000000149011612", "~0.1000000"),
            ("-0.10000000149011612", "~-0.100000"),
            ("1700000000.123456789", "~1.70000e9"),
            ("18446744073709551615", "~1.8447e19"),
            ("0.00000123456789012", "~1.2346e-6"),
            ("not a number at all", "not a num~"),
        ] {
            let found = short(number, 10);
            assert!(found.chars().count() <= 10, "{found}");
            assert_eq!(found, shown);
        }
    }
}
