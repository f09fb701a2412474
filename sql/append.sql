INSERT INTO {table} BY NAME SELECT * FROM rows_to_append
