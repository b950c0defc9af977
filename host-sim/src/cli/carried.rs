//! How high the mast was carried, for all commands that look for lines.

use crate::carried;

/// The height of the lower node.
#[derive(clap::Args)]
pub struct Carried {
    /// How high above the ground the lower node was carried, as 0.15m or 6in; without it, the recorded heights tell
    #[arg(long, value_name = "HEIGHT", allow_hyphen_values = true, value_parser = carried::parsed)]
    pub carried: Option<f64>,
}
