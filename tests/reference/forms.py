"""Reads a bundle on stdin with an independent model of HL7 FHIR R4B, and prints what it holds: type and id of each
resource, and the bundle as that model writes it."""

import json
import sys

from fhir.resources.R4B.bundle import Bundle

bundle = Bundle.model_validate_json(sys.stdin.buffer.read())
found = [[entry.resource.__resource_type__, entry.resource.id] for entry in bundle.entry]
print(json.dumps({"found": found, "bundle": json.loads(bundle.model_dump_json())}))
