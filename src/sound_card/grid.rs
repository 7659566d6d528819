//! Samples as a device counts them, full scale 1 and back.

/// A kind of sample.
pub(super) trait Grid: cpal::SizedSample + Send + 'static {
    /// Its value, full scale 1.
    fn value(self) -> f64;
    /// The sample nearest to `value`; what is over full scale is clipped.
    fn nearest(value: f64) -> Self;
}

impl Grid for i16 {
    fn value(self) -> f64 {
        f64::from(self) / 32_768.0
    }

    fn nearest(value: f64) -> Self {
        // `as` clips, and makes 0 of what is no number.
        (value * 32_768.0).round() as Self
    }
}

impl Grid for cpal::I24 {
    fn value(self) -> f64 {
        f64::from(self.inner()) / 8_388_608.0
    }

    fn nearest(value: f64) -> Self {
        let steps = (value * 8_388_608.0).round().clamp(-8_388_608.0, 8_388_607.0) as i32;
        Self::new(steps).unwrap_or_default()
    }
}

impl Grid for i32 {
    fn value(self) -> f64 {
        f64::from(self) / 2_147_483_648.0
    }

    fn nearest(value: f64) -> Self {
        (value * 2_147_483_648.0).round() as Self
    }
}

impl Grid for f32 {
    fn value(self) -> f64 {
        f64::from(self)
    }

    fn nearest(value: f64) -> Self {
        value as Self
    }
}

impl Grid for f64 {
    fn value(self) -> f64 {
        self
    }

    fn nearest(value: f64) -> Self {
        value
    }
}

/// Calls `$function::<T>($arguments)` with the type of the samples of `$format`; `None` for a kind that is not known.
macro_rules! by_format {
    ($format:expr, $function:ident($($argument:expr),* $(,)?)) => {
        match $format {
            cpal::SampleFormat::I16 => Some($function::<i16>($($argument),*)),
            cpal::SampleFormat::I24 => Some($function::<cpal::I24>($($argument),*)),
            cpal::SampleFormat::I32 => Some($function::<i32>($($argument),*)),
            cpal::SampleFormat::F32 => Some($function::<f32>($($argument),*)),
            cpal::SampleFormat::F64 => Some($function::<f64>($($argument),*)),
            _ => None,
        }
    };
}
pub(super) use by_format;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn samples_of_every_kind_come_back_and_are_clipped() {
        fn there_and_back<T: Grid>(step: f64) {
            for value in [0.0, 0.5, -0.25, -1.0, 0.125 + 0.4 * step] {
                let back = T::nearest(value).value();
                assert!((back - value).abs() <= 0.5 * step, "{back} for {value}");
            }
            assert!(T::nearest(3.0).value() >= 1.0 - step);
        }
        there_and_back::<i16>(1.0 / 32_768.0);
        there_and_back::<cpal::I24>(1.0 / 8_388_608.0);
        there_and_back::<i32>(1.0 / 2_147_483_648.0);
        there_and_back::<f32>(1.0 / 8_388_608.0);
        there_and_back::<f64>(0.0);
        assert_eq!(i16::nearest(-7.0), i16::MIN);
        assert_eq!(cpal::I24::nearest(f64::NAN).inner(), 0);
    }
}
