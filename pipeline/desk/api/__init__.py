"""The review site for programs: the same reads and acts as JSON, described by OpenAPI from the records themselves."""
