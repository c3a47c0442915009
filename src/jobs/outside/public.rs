//! Which addresses of the internet belong to everybody.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr};

/// Whether an address of the internet belongs to everybody, and not to this machine, a local network, or nobody. The
/// ranges are those of the IANA special-purpose address registries (RFC 6890).
pub(super) fn is_public(ip: IpAddr) -> bool {
    match ip {
        IpAddr::V4(ip) => is_public_v4(ip),
        IpAddr::V6(ip) => is_public_v6(ip),
    }
}

fn is_public_v4(ip: Ipv4Addr) -> bool {
    let [a, b, c, _] = ip.octets();
    let special = ip.is_private()
        || ip.is_loopback()
        || ip.is_link_local()
        || ip.is_broadcast()
        || ip.is_documentation()
        || ip.is_multicast()
        || a == 0
        || a >= 240
        || (a == 100 && (64..128).contains(&b))
        || (a == 192 && b == 0 && c == 0)
        || (a == 192 && b == 88 && c == 99)
        || (a == 198 && (18..20).contains(&b));
    !special
}

fn is_public_v6(ip: Ipv6Addr) -> bool {
    if let Some(inner) = ip.to_ipv4_mapped() {
        return is_public_v4(inner);
    }
    let [a, b, c, d, e, f, g, h] = ip.segments();
    if (a, b, c, d, e, f) == (0x64, 0xff9b, 0, 0, 0, 0) {
        let [[w, x], [y, z]] = [g.to_be_bytes(), h.to_be_bytes()];
        return is_public_v4(Ipv4Addr::new(w, x, y, z));
    }
    // Only 2000::/3 is given out; of it 2001::/23 is for protocols, 2001:db8::/32 and 3fff::/20 for texts, 2002::/16 for tunnels.
    let special = (a == 0x2001 && (b < 0x200 || b == 0xdb8)) || a == 0x2002 || (a == 0x3fff && b < 0x1000);
    (0x2000..0x4000).contains(&a) && !special
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn addresses_of_this_machine_and_of_local_networks_are_not_public() {
        for ip in [
            "127.0.0.1",
            "10.1.2.3",
            "172.16.0.1",
            "192.168.1.1",
            "169.254.169.254",
            "0.0.0.0",
            "100.64.0.1",
            "192.0.2.1",
            "198.18.0.1",
            "224.0.0.1",
            "255.255.255.255",
            "::",
            "::1",
            "fe80::1",
            "fd00::1",
            "ff02::1",
            "2001:db8::1",
            "::ffff:127.0.0.1",
            "::ffff:10.0.0.1",
            "64:ff9b::a00:1",
            "2002:7f00:1::",
            "2001::1",
            "::7f00:1",
            "5f00::1",
        ] {
            assert!(!is_public(ip.parse().unwrap()), "{ip}");
        }
        for ip in ["9.9.9.9", "172.32.0.1", "100.128.0.1", "2620:fe::fe", "::ffff:9.9.9.9", "64:ff9b::909:909"] {
            assert!(is_public(ip.parse().unwrap()), "{ip}");
        }
    }
}
