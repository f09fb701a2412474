"""The review site for programs: the same reads, and acts on wire, as JSON, described by OpenAPI from the records."""
