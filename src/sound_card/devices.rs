//! Which devices there are, and how one is opened.

use super::SoundCardError;
use super::state::said;
use cpal::traits::{DeviceTrait, HostTrait};
use cpal::{
    BufferSize, ErrorKind, SampleFormat, StreamConfig, SupportedBufferSize, SupportedStreamConfigRange,
};

/// Sample rates that are asked about, Hz, in the order in which one is taken if none was named.
const RATES_HZ: [u32; 6] = [48_000, 44_100, 96_000, 88_200, 192_000, 176_400];
/// Kinds of samples, the best first: as fine as the card is.
const FORMATS: [SampleFormat; 5] =
    [SampleFormat::I32, SampleFormat::I24, SampleFormat::F32, SampleFormat::F64, SampleFormat::I16];
/// Names that a message lists.
const LISTED: usize = 12;

/// A device as a person sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// What is typed for it.
    pub name: String,
    /// What the system calls it.
    pub description: String,
    /// Sample rates of its input, Hz, rising; empty while another program uses it, `None` if there is none.
    pub input_hz: Option<Vec<u32>>,
    /// The same of its output.
    pub output_hz: Option<Vec<u32>>,
}

/// Which way the sound goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Way {
    Input,
    Output,
}

impl Way {
    pub fn word(self) -> &'static str {
        match self {
            Self::Input => "input",
            Self::Output => "output",
        }
    }

    fn is_of(self, device: &cpal::Device) -> bool {
        match self {
            Self::Input => device.supports_input(),
            Self::Output => device.supports_output(),
        }
    }

    fn configs(self, device: &cpal::Device) -> Result<Vec<SupportedStreamConfigRange>, cpal::Error> {
        match self {
            Self::Input => device.supported_input_configs().map(Iterator::collect),
            Self::Output => device.supported_output_configs().map(Iterator::collect),
        }
    }
}

/// All devices of the system.
///
/// # Errors
/// [`SoundCardError::Open`] if the system's sound cannot be asked.
pub fn devices() -> Result<Vec<Device>, SoundCardError> {
    let rates = |way: Way, device: &cpal::Device| match way.configs(device) {
        Ok(configs) => Some(rates_of(&configs)).filter(|rates| !rates.is_empty()),
        Err(error) if error.kind() == ErrorKind::DeviceBusy => Some(vec![]),
        // What cannot be opened is none.
        Err(_) => None,
    };
    let made = |device: cpal::Device| Device {
        name: name(&device),
        description: description(&device),
        input_hz: rates(Way::Input, &device),
        output_hz: rates(Way::Output, &device),
    };
    let host = host()?;
    let mut found = all(&host)?;
    // The system's own choice may have a name that is in no list.
    for default in [host.default_input_device(), host.default_output_device()].into_iter().flatten() {
        if !found.iter().any(|device| name(device) == name(&default)) {
            found.insert(0, default);
        }
    }
    let is_one = |device: &Device| device.input_hz.is_some() || device.output_hz.is_some();
    Ok(found.into_iter().map(made).filter(is_one).collect())
}

/// A device with what it is opened with.
pub(super) struct Chosen {
    pub device: cpal::Device,
    pub name: String,
    pub config: StreamConfig,
    pub format: SampleFormat,
    /// Lengths of the block that it takes, frames, where it says so.
    blocks: Option<(u32, u32)>,
}

impl Chosen {
    /// With blocks of so many seconds, as near as the device has them.
    pub fn with_blocks_of(mut self, seconds: f64) -> Self {
        if let Some((least, most)) = self.blocks {
            let frames = (f64::from(self.config.sample_rate) * seconds) as u32;
            self.config.buffer_size = BufferSize::Fixed(frames.clamp(least, most.max(least)));
        }
        self
    }

    /// That it cannot be opened, as the system says.
    pub fn refused(&self, error: &cpal::Error) -> SoundCardError {
        SoundCardError::Open { device: self.name.clone(), what: said(error) }
    }
}

/// The device that `name` means, at the first of `rates_hz` that it has; at a usual rate if there are none.
pub(super) fn choose(name: Option<&str>, way: Way, rates_hz: &[u32]) -> Result<Chosen, SoundCardError> {
    let device = find(name, way)?;
    let name = self::name(&device);
    let configs = way
        .configs(&device)
        .map_err(|error| SoundCardError::Open { device: name.clone(), what: said(&error) })?;
    let unusable = || SoundCardError::Unusable {
        device: name.clone(),
        way: way.word(),
        what: "it has no samples of 16 bit or more at a usual rate".into(),
    };
    let there = rates_of(&configs);
    let asked = if rates_hz.is_empty() { &RATES_HZ } else { rates_hz };
    let has = |hz: u32| configs.iter().any(|config| rank(config).is_some() && covers(config, hz));
    let rate_hz = match (asked.iter().find(|&&hz| has(hz)), rates_hz.last()) {
        (Some(&hz), _) => hz,
        (None, Some(&rate_hz)) if !there.is_empty() => {
            let there = listed(there.iter().map(u32::to_string));
            return Err(SoundCardError::Rate { device: name, way: way.word(), rate_hz, there });
        }
        _ => return Err(unusable()),
    };
    let fitting = configs.iter().filter(|config| covers(config, rate_hz));
    let best = fitting.filter_map(|config| Some((rank(config)?, config))).min_by_key(|found| found.0);
    let (_, best) = best.ok_or_else(unusable)?;
    let config =
        StreamConfig { channels: best.channels(), sample_rate: rate_hz, buffer_size: BufferSize::Default };
    let blocks = match *best.buffer_size() {
        SupportedBufferSize::Range { min, max } => Some((min, max)),
        SupportedBufferSize::Unknown => None,
    };
    let format = best.sample_format();
    Ok(Chosen { device, name, config, format, blocks })
}

fn covers(config: &SupportedStreamConfigRange, rate_hz: u32) -> bool {
    (config.min_sample_rate()..=config.max_sample_rate()).contains(&rate_hz)
}

/// The lower the better; `None` if it cannot be used. Two channels go first, then as few as there are, then one.
fn rank(config: &SupportedStreamConfigRange) -> Option<(u16, usize)> {
    let format = FORMATS.iter().position(|format| *format == config.sample_format())?;
    let channels = match config.channels() {
        0 => return None,
        1 => u16::MAX,
        many => many,
    };
    Some((channels, format))
}

/// The usual rates among those of `configs`, rising.
fn rates_of(configs: &[SupportedStreamConfigRange]) -> Vec<u32> {
    let mut rates = RATES_HZ.to_vec();
    rates.sort_unstable();
    let has = |hz: u32| configs.iter().any(|config| rank(config).is_some() && covers(config, hz));
    rates.retain(|&hz| has(hz));
    rates
}

fn host() -> Result<cpal::Host, SoundCardError> {
    // What the library of the system writes to standard error would stand between our own lines.
    #[cfg(target_os = "linux")]
    let _ = alsa::Output::local_error_handler();
    // No other host is built in, so the default one is all there is.
    Ok(cpal::default_host())
}

fn all(host: &cpal::Host) -> Result<Vec<cpal::Device>, SoundCardError> {
    let refused =
        |error: cpal::Error| SoundCardError::Open { device: "sound card".into(), what: said(&error) };
    Ok(host.devices().map_err(refused)?.collect())
}

/// What is typed for a device: on Linux the name that all programs there take, elsewhere what the system shows.
fn name(device: &cpal::Device) -> String {
    if cfg!(target_os = "linux")
        && let Ok(id) = device.id()
    {
        return id.id().to_owned();
    }
    description(device)
}

fn description(device: &cpal::Device) -> String {
    device.description().map(|description| description.name().to_owned()).unwrap_or_default()
}

/// The device of that name: its whole name, or a part that only one has; the system's own choice without a name.
fn find(asked: Option<&str>, way: Way) -> Result<cpal::Device, SoundCardError> {
    let host = host()?;
    let default = || match way {
        Way::Input => host.default_input_device(),
        Way::Output => host.default_output_device(),
    };
    let Some(asked) = asked else { return default().ok_or(SoundCardError::None { way: way.word() }) };
    let mut found = all(&host)?;
    found.retain(|device| way.is_of(device));
    let is_whole = |device: &cpal::Device| name(device) == asked || description(device) == asked;
    if let Some(at) = found.iter().position(is_whole) {
        return Ok(found.swap_remove(at));
    }
    if let Some(default) = default().filter(|default| name(default) == asked) {
        return Ok(default);
    }
    let id = cpal::DeviceId::new(host.id(), asked);
    if let Some(device) = host.device_by_id(&id).filter(|device| way.is_of(device)) {
        return Ok(device);
    }
    let part = asked.to_lowercase();
    let holds = |text: String| text.to_lowercase().contains(&part);
    let fits = |device: &&cpal::Device| holds(name(device)) || holds(description(device));
    let fitting: Vec<&cpal::Device> = found.iter().filter(fits).collect();
    let device = asked.to_owned();
    match fitting[..] {
        [only] if !part.is_empty() => Ok(only.clone()),
        [] | [_] => {
            let there = listed(found.iter().map(name));
            Err(SoundCardError::NoSuchDevice { device, way: way.word(), there })
        }
        _ => {
            let there = listed(fitting.iter().map(|device| name(device)));
            Err(SoundCardError::Several { device, way: way.word(), there })
        }
    }
}

/// Names, as many as a line has room for.
fn listed(names: impl Iterator<Item = String>) -> String {
    let names: Vec<String> = names.collect();
    match names.len() {
        0 => "none".to_owned(),
        many if many > LISTED => format!("{} and {} more", names[..LISTED].join(", "), many - LISTED),
        _ => names.join(", "),
    }
}
