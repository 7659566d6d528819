//! Plans of Fourier transforms, kept: making one costs as much as some dozen transforms.

use realfft::{ComplexToReal, RealFftPlanner, RealToComplex};
use rustfft::{Fft, FftNum, FftPlanner};
use std::sync::{Arc, Mutex, PoisonError};

/// Sum of the lengths of the plans that are kept, samples; each takes about 24 bytes.
const KEPT: usize = 1 << 20;

/// Plans by length, the one used last at the end.
struct PlanCache<P: ?Sized>(Mutex<Vec<(usize, Arc<P>)>>);

impl<P: ?Sized> PlanCache<P> {
    const fn new() -> Self {
        Self(Mutex::new(Vec::new()))
    }

    fn get(&self, length: usize, make: impl FnOnce() -> Arc<P>) -> Arc<P> {
        // Whoever panicked while holding it has left whole plans behind.
        let lock = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let found = |plans: &mut Vec<(usize, Arc<P>)>| {
            let at = plans.iter().position(|plan| plan.0 == length)?;
            let plan = plans.remove(at);
            plans.push(plan.clone());
            Some(plan.1)
        };
        if let Some(plan) = found(&mut lock()) {
            return plan;
        }
        // Others may go on meanwhile; that two make the same one is no harm.
        let plan = make();
        let mut plans = lock();
        if found(&mut plans).is_none() {
            plans.push((length, plan.clone()));
        }
        while plans.len() > 1 && plans.iter().map(|plan| plan.0).sum::<usize>() > KEPT {
            plans.remove(0);
        }
        plan
    }
}

/// Precisions in which plans are kept.
pub trait Precision: FftNum {
    /// Transform of `length` real samples.
    fn real_forward(length: usize) -> Arc<dyn RealToComplex<Self>>;
    /// Transform of `length` complex bins back to samples, times `length`.
    fn complex_inverse(length: usize) -> Arc<dyn Fft<Self>>;
}

macro_rules! kept {
    ($real:ty) => {
        impl Precision for $real {
            fn real_forward(length: usize) -> Arc<dyn RealToComplex<Self>> {
                static CACHE: PlanCache<dyn RealToComplex<$real>> = PlanCache::new();
                CACHE.get(length, || RealFftPlanner::new().plan_fft_forward(length))
            }

            fn complex_inverse(length: usize) -> Arc<dyn Fft<Self>> {
                static CACHE: PlanCache<dyn Fft<$real>> = PlanCache::new();
                CACHE.get(length, || FftPlanner::new().plan_fft_inverse(length))
            }
        }
    };
}

kept!(f32);
kept!(f64);

/// Transform of `length` complex samples.
pub fn complex_forward(length: usize) -> Arc<dyn Fft<f64>> {
    static CACHE: PlanCache<dyn Fft<f64>> = PlanCache::new();
    CACHE.get(length, || FftPlanner::new().plan_fft_forward(length))
}

/// Transform of half a spectrum back to `length` real samples, times `length`.
pub fn real_inverse(length: usize) -> Arc<dyn ComplexToReal<f64>> {
    static CACHE: PlanCache<dyn ComplexToReal<f64>> = PlanCache::new();
    CACHE.get(length, || RealFftPlanner::new().plan_fft_inverse(length))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plans_are_kept_and_the_oldest_go_first() {
        let cache: PlanCache<usize> = PlanCache::new();
        let made = |length: usize| {
            let mut made = false;
            let plan = cache.get(length, || {
                made = true;
                Arc::new(length)
            });
            assert_eq!(*plan, length);
            made
        };
        assert!(made(8) && !made(8));
        assert!(made(KEPT / 2) && made(KEPT / 4));
        // Used again, so that the other one is older.
        assert!(!made(8) && !made(KEPT / 2));
        assert!(made(KEPT / 3));
        assert!(!made(8) && !made(KEPT / 2) && made(KEPT / 4));
        // One that is too long by itself is kept until another one comes.
        assert!(made(2 * KEPT) && !made(2 * KEPT) && made(8));
    }
}
