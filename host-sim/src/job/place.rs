//! Where things are: on the site's grid, or by latitude and longitude, and how one becomes the other.

use glam::DVec2;
use map_3d::Ellipsoid;
use serde::{Deserialize, Serialize};

/// How a place was had.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(tag = "by", rename_all = "kebab-case")]
pub enum Place {
    /// As the locate found it, on the site's grid.
    #[default]
    Locate,
    /// Taped on the site's grid.
    Grid {
        /// Metres east of its origin.
        east_m: f64,
        /// Metres north of it.
        north_m: f64,
        /// Standard uncertainty of each.
        sigma_m: f64,
    },
    /// By the taped distances from permanent points that are entered as ties.
    Ties {
        /// Where two points leave two places: on which side of the line from the first point to the second.
        side: Option<Side>,
    },
    /// By satellites.
    Gnss(Gnss),
}

/// A side of a line as it is walked along.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// On the left hand.
    Left,
    /// On the right hand.
    Right,
}

/// A place by satellites, as the receiver said it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Gnss {
    /// Degrees north.
    pub latitude_deg: f64,
    /// Degrees east.
    pub longitude_deg: f64,
    /// Height, if it was kept.
    #[serde(default)]
    pub height_m: Option<f64>,
    /// Standard uncertainty of the place, metres, east and north.
    pub sigma_m: f64,
    /// The receiver's word for how good it was, as in `RTK fixed`.
    #[serde(default)]
    pub quality: String,
    /// The datum that the receiver or its corrections work in.
    pub datum: Datum,
    /// What the height counts from.
    #[serde(default)]
    pub heights: Heights,
}

/// A geodetic datum. What the list does not hold has to be transformed before it is entered.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Datum {
    /// The world's, as satellites send it.
    #[serde(rename = "WGS 84")]
    Wgs84,
    /// Of Europe.
    #[serde(rename = "ETRS89")]
    Etrs89,
    /// Of the United States and Canada.
    #[serde(rename = "NAD83(2011)")]
    Nad83,
    /// Of Australia.
    #[serde(rename = "GDA2020")]
    Gda2020,
}

impl Datum {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Wgs84, Self::Etrs89, Self::Nad83, Self::Gda2020];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Wgs84 => "WGS 84",
            Self::Etrs89 => "ETRS89",
            Self::Nad83 => "NAD83(2011)",
            Self::Gda2020 => "GDA2020",
        }
    }

    /// Number of its latitudes and longitudes in the EPSG data set.
    pub const fn epsg(self) -> i32 {
        match self {
            Self::Wgs84 => 4326,
            Self::Etrs89 => 4258,
            Self::Nad83 => 6318,
            Self::Gda2020 => 7844,
        }
    }

    const fn ellipsoid(self) -> Ellipsoid {
        match self {
            Self::Wgs84 => Ellipsoid::WGS84,
            Self::Etrs89 | Self::Nad83 | Self::Gda2020 => Ellipsoid::GRS80,
        }
    }
}

impl std::str::FromStr for Datum {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let plain = |t: &str| t.to_lowercase().replace([' ', '-'], "");
        Self::ALL.into_iter().find(|d| plain(d.name()) == plain(text)).ok_or_else(|| {
            let known = Self::ALL.map(Self::name).join(", ");
            format!("no datum that is known here; {known} are: transform to one of them first")
        })
    }
}

/// What heights count from.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Heights {
    /// The ellipsoid of the datum.
    #[default]
    Ellipsoid,
    /// A model of the geoid, by its name.
    Geoid(String),
}

impl std::fmt::Display for Heights {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Ellipsoid => f.write_str("the ellipsoid"),
            Self::Geoid(model) => write!(f, "the geoid {model}"),
        }
    }
}

/// Where the site's grid lies on the Earth.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Anchor {
    /// Latitude of the grid's origin, degrees north.
    pub latitude_deg: f64,
    /// Longitude of it, degrees east.
    pub longitude_deg: f64,
    /// Its height over the ellipsoid, metres.
    pub ellipsoid_height_m: f64,
    /// Standard uncertainty of the origin, metres, east and north.
    pub sigma_m: f64,
    /// Bearing of the grid's north from true north, degrees clockwise.
    pub bearing_deg: f64,
    /// Its standard uncertainty.
    pub bearing_sigma_deg: f64,
}

/// A place on the site's grid with all of its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spot {
    /// East and north, metres.
    pub at: DVec2,
    /// Variances and covariance: east, east with north, north; m².
    pub cov: Cov,
}

/// A covariance in the plane: east with east, east with north, north with north.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cov(pub [f64; 3]);

impl Cov {
    /// The same in all directions.
    pub fn round(sigma_m: f64) -> Self {
        let v = sigma_m * sigma_m;
        Self([v, 0.0, v])
    }

    /// Of the sum of two independent errors.
    #[must_use]
    pub fn and(self, other: Self) -> Self {
        let ([a, b, c], [d, e, f]) = (self.0, other.0);
        Self([a + d, b + e, c + f])
    }

    /// Variance in the direction of the unit vector `along`.
    pub fn along(self, along: DVec2) -> f64 {
        let [ee, en, nn] = self.0;
        ee * along.x * along.x + 2.0 * en * along.x * along.y + nn * along.y * along.y
    }

    /// Standard uncertainties along the long and the short axis, and the bearing of the long one in radians clockwise
    /// from north, 0 to pi.
    pub fn axes(self) -> (f64, f64, f64) {
        let [ee, en, nn] = self.0;
        let (mean, half) = (0.5 * (ee + nn), 0.5 * (nn - ee));
        let spread = half.hypot(en);
        // Twice the bearing, clockwise from north, is the direction of (nn - ee, 2 en).
        let bearing = 0.5 * en.atan2(half);
        let sigma = |variance: f64| variance.max(0.0).sqrt();
        (sigma(mean + spread), sigma(mean - spread), bearing.rem_euclid(std::f64::consts::PI))
    }

    /// Turned clockwise by an angle.
    #[must_use]
    pub fn turned(self, clockwise_rad: f64) -> Self {
        let (s, c) = clockwise_rad.sin_cos();
        let [ee, en, nn] = self.0;
        Self([
            c * c * ee + 2.0 * s * c * en + s * s * nn,
            (c * c - s * s) * en + s * c * (nn - ee),
            s * s * ee - 2.0 * s * c * en + c * c * nn,
        ])
    }
}

/// Size of the ellipse of 95 % in standard uncertainties: sqrt(-2 ln 0.05), from chi-square with two degrees of freedom.
pub fn ellipse95() -> f64 {
    (-2.0 * 0.05_f64.ln()).sqrt()
}

/// A latitude and longitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Geodetic {
    /// Degrees north.
    pub latitude_deg: f64,
    /// Degrees east.
    pub longitude_deg: f64,
    /// Metres over the ellipsoid.
    pub height_m: f64,
}

impl Anchor {
    /// A place on the grid, as high as the origin, as latitude and longitude.
    pub fn to_earth(&self, datum: Datum, grid: DVec2) -> Geodetic {
        let true_enu = turned(grid, self.bearing_deg.to_radians());
        let (latitude, longitude, height_m) = map_3d::enu2geodetic(
            true_enu.x,
            true_enu.y,
            0.0,
            self.latitude_deg.to_radians(),
            self.longitude_deg.to_radians(),
            self.ellipsoid_height_m,
            datum.ellipsoid(),
        );
        Geodetic { latitude_deg: latitude.to_degrees(), longitude_deg: longitude.to_degrees(), height_m }
    }

    /// A latitude and longitude as a place on the grid; without a height, as high as the origin.
    pub fn to_grid(
        &self,
        datum: Datum,
        latitude_deg: f64,
        longitude_deg: f64,
        height_m: Option<f64>,
    ) -> DVec2 {
        let (east_m, north_m, _) = map_3d::geodetic2enu(
            latitude_deg.to_radians(),
            longitude_deg.to_radians(),
            height_m.unwrap_or(self.ellipsoid_height_m),
            self.latitude_deg.to_radians(),
            self.longitude_deg.to_radians(),
            self.ellipsoid_height_m,
            datum.ellipsoid(),
        );
        turned(DVec2::new(east_m, north_m), -self.bearing_deg.to_radians())
    }

    /// What the anchor's own uncertainty adds to that of a place on the grid, seen along true east and north.
    pub fn cov_to_earth(&self, spot: &Spot) -> Cov {
        let aside = spot.at.perp() * self.bearing_sigma_deg.to_radians();
        let swing = Cov([aside.x * aside.x, aside.x * aside.y, aside.y * aside.y]);
        spot.cov.and(swing).turned(self.bearing_deg.to_radians()).and(Cov::round(self.sigma_m))
    }
}

/// A vector turned clockwise, seen from above.
fn turned(v: DVec2, clockwise_rad: f64) -> DVec2 {
    let (s, c) = clockwise_rad.sin_cos();
    DVec2::new(c * v.x + s * v.y, c * v.y - s * v.x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn axes_of_a_known_ellipse() {
        // 3 m along N 30° E and 1 m across: by hand from the rotation of diag(1, 9).
        let bearing = 30.0_f64.to_radians();
        let cov = Cov([1.0, 0.0, 9.0]).turned(bearing);
        let (long, short, found) = cov.axes();
        assert!(
            (long - 3.0).abs() < 1e-12 && (short - 1.0).abs() < 1e-12 && (found - bearing).abs() < 1e-12
        );
        assert!((cov.0[0] - (1.0 * 0.75 + 9.0 * 0.25)).abs() < 1e-12);
        let along = DVec2::new(bearing.sin(), bearing.cos());
        assert!((cov.along(along) - 9.0).abs() < 1e-12);
    }

    proptest! {
        #[test]
        fn grid_and_earth_are_each_other_s_inverse(
            lat in -85.0_f64..85.0, lon in -180.0_f64..180.0, height in -100.0_f64..4000.0,
            bearing in 0.0_f64..360.0, east in -1e4_f64..1e4, north in -1e4_f64..1e4, pick in 0_usize..4,
        ) {
            let anchor = Anchor {
                latitude_deg: lat, longitude_deg: lon, ellipsoid_height_m: height, sigma_m: 0.1,
                bearing_deg: bearing, bearing_sigma_deg: 0.0,
            };
            let (datum, grid) = (Datum::ALL[pick], DVec2::new(east, north));
            let earth = anchor.to_earth(datum, grid);
            let back = anchor.to_grid(datum, earth.latitude_deg, earth.longitude_deg, Some(earth.height_m));
            prop_assert!(back.distance(grid) < 1e-4, "{back} {grid}");
        }
    }
}
