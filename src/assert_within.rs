//! The one macro by which tests compare numbers.

/// Asserts that `got` lies within `tolerance` of `want`; prints got, want, unit, excess and the row on failure.
///
/// ```
/// deckproof::assert_within!(10.02, 10.0, 0.05, "dB", "row {}", 3);
/// ```
#[macro_export]
#[doc(hidden)]
macro_rules! assert_within {
    ($got:expr, $want:expr, $tolerance:expr, $unit:expr) => {
        $crate::assert_within!($got, $want, $tolerance, $unit, "")
    };
    ($got:expr, $want:expr, $tolerance:expr, $unit:expr, $($row:tt)+) => {{
        let (got, want, tolerance): (f64, f64, f64) = ($got, $want, $tolerance);
        let excess = (got - want).abs() - tolerance;
        // A NaN must fail.
        assert!(
            excess <= 0.0,
            "{}: got {got} {unit}, want {want} +- {tolerance} {unit}, {excess} {unit} too far",
            format_args!($($row)+),
            unit = $unit,
        );
    }};
}
