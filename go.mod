module weepd

go 1.26.0
