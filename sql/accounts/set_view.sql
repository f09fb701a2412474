-- Keep a list for account $key under a name; another of that name goes.
INSERT INTO view (key, name, address)
VALUES ($key, $name, $address)
ON CONFLICT (key, name) DO UPDATE SET address = excluded.address
