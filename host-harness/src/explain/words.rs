//! Numbers in words.

/// A value with about four digits.
pub(super) fn plain(value: f64) -> String {
    let places = places(value);
    let text = format!("{value:.places$}");
    // Not a negative zero.
    if text.trim_start_matches('-').chars().all(|digit| matches!(digit, '0' | '.')) {
        text.trim_start_matches('-').to_owned()
    } else {
        text
    }
}

/// Places behind the point, so that there are about four digits.
fn places(value: f64) -> usize {
    let size = value.abs();
    if size >= 1000.0 {
        0
    } else if size >= 100.0 {
        1
    } else if size >= 10.0 {
        2
    } else {
        3
    }
}

/// A worst case of zero or more with about four digits, rounded up, as the margins are.
pub(super) fn at_worst(value: f64) -> String {
    let scale = [1.0, 10.0, 100.0, 1000.0][places(value).min(3)];
    // Less than a billionth above a step is the error of the product.
    plain((value * scale * (1.0 - 1e-9)).ceil() / scale)
}

/// Seconds as ms.
pub(super) fn ms(seconds: f64) -> String {
    format!("{} ms", plain(seconds * 1e3))
}

/// A share of what is allowed in %, without a zero that is none.
pub(super) fn share(share: f64) -> String {
    match share * 100.0 {
        beyond if beyond < 0.0 && beyond > -0.5 => "> -1 %".to_owned(),
        left if left > 0.0 && left < 0.5 => "< 1 %".to_owned(),
        percent => format!("{percent:.0} %"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_have_about_four_digits_and_no_negative_zero() {
        let shown = [0.0, -0.0001, 0.01234, 1.5, 12.345, 123.456, -1234.5].map(plain);
        assert_eq!(shown, ["0.000", "0.000", "0.012", "1.500", "12.35", "123.5", "-1234"]);
    }

    #[test]
    fn a_worst_case_is_rounded_up_and_what_is_exact_stays() {
        let shown = [0.0, 0.0121, 1.5, 20.29, 20.2901, 637.81, 1297.2, 1297.0].map(at_worst);
        assert_eq!(shown, ["0.000", "0.013", "1.500", "20.29", "20.30", "637.9", "1298", "1297"]);
    }

    #[test]
    fn a_share_that_is_not_zero_is_not_shown_as_zero() {
        let shown = [0.33, 0.004, 0.0, -0.004, -0.012].map(share);
        assert_eq!(shown, ["33 %", "< 1 %", "0 %", "> -1 %", "-1 %"]);
    }
}
