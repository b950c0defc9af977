//! The three sentences that are used.

use super::field::{days, decimal, nanodegrees, time_ms};

/// How a place was found, from field 6 of GGA.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quality {
    /// By satellites alone.
    Alone,
    /// With corrections from a service.
    Corrected,
    /// With the carrier's phase against a base station, whole wavelengths found: centimetres.
    Fixed,
    /// The same, whole wavelengths not yet found: decimetres.
    Float,
}

/// A sentence GGA: where and when.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gga {
    /// Time of day (UTC), milliseconds.
    pub time_ms: u32,
    /// North is positive, billionths of a degree.
    pub latitude_nanodegrees: i64,
    /// East is positive, billionths of a degree.
    pub longitude_nanodegrees: i64,
    /// Above the ellipsoid, as far as the receiver tells the geoid's height, millimetres.
    pub height_mm: i32,
    /// How it was found.
    pub quality: Quality,
    /// Horizontal dilution of precision, hundredths.
    pub hdop_centi: u32,
}

/// A sentence GST: the receiver's own opinion of its error.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gst {
    /// Time of day (UTC), milliseconds.
    pub time_ms: u32,
    /// The larger of the standard deviations north and east, millimetres.
    pub sigma_mm: u32,
}

/// A sentence that says something.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sentence {
    /// A place.
    Gga(Gga),
    /// Its error.
    Gst(Gst),
    /// Date and time: seconds since 1970.
    Rmc(u64),
    /// A place or an error that the receiver does not know yet.
    NotYet,
    /// Sound, and of no use here.
    Other,
}

/// The checksum is wrong, or a field is not what it should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unreadable;

impl Sentence {
    /// Read a line, from its `$` to its checksum.
    ///
    /// # Errors
    /// [`Unreadable`].
    ///
    /// ```
    /// use nullwalk_drivers::gnss::Sentence;
    /// let line = b"$GPGGA,123519,4807.038,N,01131.324,E,1,08,0.9,545.4,M,46.9,M,,*42";
    /// let Ok(Sentence::Gga(place)) = Sentence::read(line) else { panic!() };
    /// assert_eq!(place.latitude_nanodegrees, 48_117_300_000);
    /// ```
    pub fn read(line: &[u8]) -> Result<Self, Unreadable> {
        let [b'$', between @ .., b'*', high, low] = line else { return Err(Unreadable) };
        let checksum = (hex(*high)? << 4) | hex(*low)?;
        if between.iter().fold(0, |sum, byte| sum ^ byte) != checksum {
            return Err(Unreadable);
        }
        let mut fields = between.split(|byte| *byte == b',');
        // Two letters for who talks, three for the kind.
        match fields.next() {
            Some([_, _, b'G', b'G', b'A']) => gga(&mut fields),
            Some([_, _, b'G', b'S', b'T']) => gst(&mut fields),
            Some([_, _, b'R', b'M', b'C']) => rmc(&mut fields),
            _ => Ok(Self::Other),
        }
    }
}

fn hex(digit: u8) -> Result<u8, Unreadable> {
    match digit {
        b'0'..=b'9' => Ok(digit - b'0'),
        b'A'..=b'F' => Ok(digit - b'A' + 10),
        _ => Err(Unreadable),
    }
}

fn gga<'a>(fields: &mut impl Iterator<Item = &'a [u8]>) -> Result<Sentence, Unreadable> {
    let mut next = || fields.next().ok_or(Unreadable);
    let (time, latitude, north, longitude, east) = (next()?, next()?, next()?, next()?, next()?);
    let (quality, _satellites, hdop) = (next()?, next()?, next()?);
    let (altitude, _metres, geoid) = (next()?, next()?, next()?);
    let quality = match quality {
        b"1" | b"3" => Quality::Alone,
        b"2" => Quality::Corrected,
        b"4" => Quality::Fixed,
        b"5" => Quality::Float,
        // None, guessed, set by hand, simulated: no place of a mast.
        b"" | b"0" | b"6" | b"7" | b"8" => return Ok(Sentence::NotYet),
        _ => return Err(Unreadable),
    };
    let height_mm = [altitude, geoid].into_iter().try_fold(0_i64, |height, field| {
        if field.is_empty() { Some(height) } else { height.checked_add(decimal(field, 3)?) }
    });
    let read = || {
        Some(Gga {
            time_ms: time_ms(time)?,
            latitude_nanodegrees: nanodegrees(latitude, north, *b"NS", 90)?,
            longitude_nanodegrees: nanodegrees(longitude, east, *b"EW", 180)?,
            height_mm: i32::try_from(height_mm?).ok()?,
            quality,
            hdop_centi: u32::try_from(decimal(hdop, 2)?).ok()?,
        })
    };
    read().map(Sentence::Gga).ok_or(Unreadable)
}

fn gst<'a>(fields: &mut impl Iterator<Item = &'a [u8]>) -> Result<Sentence, Unreadable> {
    let time = fields.next().ok_or(Unreadable)?;
    // Between the time and the two deviations stand the range error and the ellipse.
    let mut deviations = fields.skip(4);
    let (north, east) = (deviations.next().ok_or(Unreadable)?, deviations.next().ok_or(Unreadable)?);
    if north.is_empty() || east.is_empty() {
        return Ok(Sentence::NotYet);
    }
    let read = || {
        let sigma_mm = u32::try_from(decimal(north, 3)?.max(decimal(east, 3)?)).ok()?;
        Some(Gst { time_ms: time_ms(time)?, sigma_mm })
    };
    read().map(Sentence::Gst).ok_or(Unreadable)
}

fn rmc<'a>(fields: &mut impl Iterator<Item = &'a [u8]>) -> Result<Sentence, Unreadable> {
    let (time, status) = (fields.next().ok_or(Unreadable)?, fields.next().ok_or(Unreadable)?);
    // Between the status and the date stand place, speed and course.
    let date = fields.nth(6).ok_or(Unreadable)?;
    if status != b"A" || time.is_empty() || date.is_empty() {
        return Ok(Sentence::NotYet);
    }
    let read = || Some(u64::from(days(date)?) * 86_400 + u64::from(time_ms(time)? / 1000));
    read().map(Sentence::Rmc).ok_or(Unreadable)
}
