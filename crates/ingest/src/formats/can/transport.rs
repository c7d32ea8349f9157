//! Transfers of more than eight bytes to all nodes: the broadcast announce message of SAE J1939-21, 5.10.

use std::collections::HashMap;

use super::j1939;

const ANNOUNCE: u32 = 60416;
const PACKET: u32 = 60160;
const TO_ALL: u8 = 255;
const BROADCAST: u8 = 32;
const BYTES_MOST: usize = 1785;

/// What a frame does to a transfer.
#[derive(Debug, PartialEq, Eq)]
pub enum Step {
    /// The frame belongs to no transfer.
    None,
    Taken,
    Done {
        group: u32,
        sender: u8,
        data: Vec<u8>,
    },
    Broken,
}

/// The transfers under way, one for each sender; no node may have two.
#[derive(Debug, Default)]
pub struct Transfers {
    under_way: HashMap<u8, Transfer>,
}

#[derive(Debug)]
struct Transfer {
    group: u32,
    bytes: usize,
    next: u8,
    data: Vec<u8>,
}

impl Transfers {
    /// `wanted` says whether anybody asks for a parameter group: packets of others are let go.
    pub fn take(&mut self, id: u32, data: &[u8], wanted: impl Fn(u32, u8) -> bool) -> Step {
        if j1939::destination(id) != TO_ALL {
            return Step::None;
        }
        let sender = j1939::sender(id);
        match j1939::group(id) {
            ANNOUNCE => self.announce(sender, data, wanted),
            PACKET => self.packet(sender, data),
            _ => Step::None,
        }
    }

    /// Control byte, bytes (2), packets, reserved, group (3).
    fn announce(&mut self, sender: u8, data: &[u8], wanted: impl Fn(u32, u8) -> bool) -> Step {
        let &[BROADCAST, low, high, packets, _, a, b, c] = data else { return Step::None };
        let group = u32::from_le_bytes([a, b, c, 0]);
        let bytes = usize::from(u16::from_le_bytes([low, high]));
        let unfinished = self.under_way.remove(&sender).is_some();
        if !wanted(group, sender) {
            return if unfinished { Step::Broken } else { Step::None };
        }
        if !(9..=BYTES_MOST).contains(&bytes) || bytes.div_ceil(7) != usize::from(packets) {
            return Step::Broken;
        }
        self.under_way.insert(sender, Transfer { group, bytes, next: 1, data: Vec::new() });
        if unfinished { Step::Broken } else { Step::Taken }
    }

    /// Sequence number, then seven bytes.
    fn packet(&mut self, sender: u8, data: &[u8]) -> Step {
        let Some(transfer) = self.under_way.get_mut(&sender) else { return Step::None };
        match data {
            &[number, ref bytes @ ..] if number == transfer.next && bytes.len() == 7 => {
                transfer.data.extend_from_slice(bytes);
                transfer.next = transfer.next.wrapping_add(1);
            }
            _ => {
                self.under_way.remove(&sender);
                return Step::Broken;
            }
        }
        if transfer.data.len() < transfer.bytes {
            return Step::Taken;
        }
        match self.under_way.remove(&sender) {
            Some(Transfer { group, bytes, mut data, .. }) => {
                data.truncate(bytes);
                Step::Done { group, sender, data }
            }
            None => Step::None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CM: u32 = 0x1CEC_FF05;
    const DT: u32 = 0x1CEB_FF05;

    fn take(transfers: &mut Transfers, id: u32, data: &[u8]) -> Step {
        transfers.take(id, data, |group, _| group == 65260)
    }

    /// Seventeen bytes in three packets; group 65260 is 0x00FEEC.
    #[test]
    fn a_broadcast_comes_together() {
        let mut transfers = Transfers::default();
        assert_eq!(take(&mut transfers, CM, &[32, 17, 0, 3, 0xFF, 0xEC, 0xFE, 0x00]), Step::Taken);
        assert_eq!(take(&mut transfers, DT, &[1, 1, 2, 3, 4, 5, 6, 7]), Step::Taken);
        assert_eq!(take(&mut transfers, 0x18FE_F105, &[0; 8]), Step::None);
        assert_eq!(take(&mut transfers, DT, &[2, 8, 9, 10, 11, 12, 13, 14]), Step::Taken);
        let done = Step::Done { group: 65260, sender: 5, data: (1..=17).collect() };
        assert_eq!(take(&mut transfers, DT, &[3, 15, 16, 17, 0xFF, 0xFF, 0xFF, 0xFF]), done);
    }

    #[test]
    fn a_gap_or_a_new_announcement_breaks_it() {
        let mut transfers = Transfers::default();
        let announce = [32, 17, 0, 3, 0xFF, 0xEC, 0xFE, 0x00];
        take(&mut transfers, CM, &announce);
        assert_eq!(take(&mut transfers, DT, &[2, 8, 9, 10, 11, 12, 13, 14]), Step::Broken);
        assert_eq!(take(&mut transfers, DT, &[3, 8, 9, 10, 11, 12, 13, 14]), Step::None);
        take(&mut transfers, CM, &announce);
        assert_eq!(take(&mut transfers, CM, &announce), Step::Broken);
        assert_eq!(
            take(&mut transfers, CM, &[32, 17, 0, 9, 0xFF, 0xEC, 0xFE, 0x00]),
            Step::Broken,
            "nine packets"
        );
        assert_eq!(take(&mut transfers, CM, &[32, 17, 0, 3, 0xFF, 0xED, 0xFE, 0x00]), Step::None, "not wanted");
        assert_eq!(
            take(&mut transfers, CM, &[16, 17, 0, 3, 0xFF, 0xEC, 0xFE, 0x00]),
            Step::None,
            "not a broadcast"
        );
    }

    proptest::proptest! {
        #[test]
        fn no_frame_panics(frames in proptest::collection::vec((0..4_u8, proptest::collection::vec(0..40_u8, 0..9)), 0..40)) {
            let mut transfers = Transfers::default();
            for (sender, data) in frames {
                let id = if data.len() % 2 == 0 { CM } else { DT };
                let _ = transfers.take(id & !0xFF | u32::from(sender), &data, |_, _| true);
            }
        }
    }
}
