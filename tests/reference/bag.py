"""Checks the bag in a folder with an independent reader (RFC 8493): says "valid", or what is wrong and fails."""

import sys

import bagit

try:
    bag = bagit.Bag(sys.argv[1])
    bag.validate(processes=1)
except bagit.BagError as error:
    sys.exit(str(error))
print("valid", bag.version, sorted(bag.algorithms))
