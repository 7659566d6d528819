//! One thing given twice.

/// The first two of `given`, by their places, that are `one`.
pub(super) fn first_copy<T>(given: &[T], one: impl Fn(&T, &T) -> bool) -> Option<[usize; 2]> {
    (1..given.len()).flat_map(|k| (0..k).map(move |j| [j, k])).find(|[j, k]| one(&given[*j], &given[*k]))
}
