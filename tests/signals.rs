//! The test signals of `tests/reference/make_signal_reference.py`, made again: nothing in them is random.

/// `count` values of the noise with `seed`: uniform in -1 to 1, variance 1/3. The generator is written out in the head
/// of the script.
pub fn noise(count: usize, seed: u64) -> Vec<f64> {
    let mut x = seed;
    (0..count)
        .map(|_| {
            x = x.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            // 53 bits, exact as an f64.
            (x >> 11) as f64 * 2f64.powi(-52) - 1.0
        })
        .collect()
}

/// Asserts that `samples` begin with the values that the head of `table` gives: the library is fed what scipy was fed.
pub fn assert_same_beginning(samples: &[f64], table: &str) {
    let line = table
        .lines()
        .find_map(|line| line.strip_prefix('#')?.split_once("samples").filter(|_| line.contains("irst")))
        .expect("the head gives the first samples");
    let (_, values) = line.1.split_once(": ").expect("a colon stands before the values");
    let wants: Vec<f64> = values.split(", ").map(|text| text.parse().expect("a number")).collect();
    assert_eq!(wants.len(), 4, "first samples in the head");
    for (n, (got, want)) in samples.iter().zip(wants).enumerate() {
        // Printed with 15 digits; two mathematical libraries' sines differ in the last bit.
        deckproof::assert_within!(*got, want, 1e-14, "", "sample {n}");
    }
}
